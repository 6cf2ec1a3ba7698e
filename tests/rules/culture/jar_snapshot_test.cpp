#include <doctest/doctest.h>

#include "tests/rules/culture/jars.h"

using namespace torpor;
using namespace torpor::rules::culture;
using namespace torpor::rules::culture::testing;

namespace {

JarModel lived() {
  JarModel jar(profile(), kGood);
  for (std::int64_t m = 0; m < 3 * 1440 + 17; ++m) {
    jar.step(cellar_air(m), instant_of(kClosed + (m + 1) * 60000));
  }
  jar.probe(ProbeSeat::culture, Celsius(21));
  jar.observe(jar.at(), Look{{Sign::bubbling, Sign::crystals}});
  jar.act(jar.at(), ChangeCover{Cover::double_kraft});
  jar.step(air(21, 66), after_hours(80.2));
  return jar;
}

}  // namespace

TEST_CASE("a jar restored from a snapshot at any point goes on exactly the same") {
  JarModel undisturbed = lived();
  JarModel restored(profile(), kGood);
  REQUIRE(restored.restore(undisturbed.snapshot()));
  CHECK(restored.at() == undisturbed.at());
  for (std::int64_t m = 0; m < 5000; ++m) {
    const Instant until = undisturbed.at() + std::chrono::minutes(1);
    undisturbed.step(cellar_air(m), until);
    restored.step(cellar_air(m), until);
    if (m % 501 != 0) continue;
    JarModel again(profile(), kGood);
    REQUIRE(again.restore(restored.snapshot()));
    restored = again;
  }
  CHECK(restored.snapshot() == undisturbed.snapshot());
  CHECK(restored.verdict().reasons == undisturbed.verdict().reasons);
}

TEST_CASE("asking for a verdict changes nothing") {
  const JarModel jar = lived();
  const std::string before = jar.snapshot();
  (void)jar.verdict();
  (void)jar.figures();
  (void)jar.time_to_wake_in(Celsius(30), Percent(90));
  CHECK(jar.snapshot() == before);
}

TEST_CASE("a damaged, foreign, short or long snapshot is refused and leaves the jar alone") {
  const std::string good = lived().snapshot();
  JarModel jar = lived();
  const auto refused = [&](std::string bytes) {
    const auto result = jar.restore(bytes);
    return result ? std::string() : result.error();
  };
  std::string flipped = good;
  flipped[good.size() / 2] = static_cast<char>(flipped[good.size() / 2] ^ 1);
  CHECK(refused(flipped) ==
        "a jar's snapshot cannot be used: it is damaged; work the jar out from its history");
  CHECK(refused("") ==
        "a jar's snapshot cannot be used: it is cut short; work the jar out from its history");
  CHECK_FALSE(refused(good.substr(0, good.size() - 1)).empty());
  CHECK_FALSE(refused(good + "x").empty());
  std::string foreign = good;
  foreign[0] = 'X';
  CHECK(refused(foreign).find("it is none") != std::string::npos);
  std::string newer = good;
  newer[8] = 99;
  CHECK(refused(newer).find("another version") != std::string::npos);
  CHECK(jar.snapshot() == good);
  // A corrected recipe is another jar.
  JarModel other(profile(), jar_of(1200, 0.55, 1319, Cover::kraft, 60));
  CHECK(other.restore(good).error().find("another jar or profile") != std::string::npos);
}
