#include "rules/culture/air_memory.h"

#include <doctest/doctest.h>

#include "tests/rules/culture/jars.h"

using namespace torpor;
using namespace torpor::rules::culture;
using namespace torpor::rules::culture::testing;

namespace {

Setting likely() { return setting(kProfile, kLikely, Vessel{}, Cover::kraft); }
AirHour hour(float celsius, float humidity) {
  return {celsius, celsius, humidity * 2339.0F, 2339.0F, true};
}

}  // namespace

TEST_CASE("the last day and the last week are kept apart") {
  AirMemory memory;
  for (int i = 0; i < 300; ++i) memory.remember(hour(10, 0.5F), after_hours(i));
  for (int i = 300; i < 324; ++i) memory.remember(hour(24, 0.8F), after_hours(i));
  CHECK(memory.last_day() == doctest::Approx(24));
  CHECK(memory.recent(24, likely(), 0).air == doctest::Approx(24));
  CHECK(memory.recent(24, likely(), 0).vapour == doctest::Approx(0.8 * 2339));
  CHECK(memory.recent(168, likely(), 0).air == doctest::Approx((144 * 10 + 24 * 24) / 168.0));
}

TEST_CASE("growth's factors are averaged hour by hour, not at the mean") {
  AirMemory memory;
  for (int i = 0; i < 24; ++i)
    memory.remember(hour(i % 2 == 0 ? 0.0F : 30.0F, 0.5F), after_hours(i));
  const Stretch day = memory.recent(24, likely(), 0);
  const double yeast = day.warmth[static_cast<std::size_t>(Guild::yeast)];
  CHECK(yeast == doctest::Approx(0.5 * 0.9802).epsilon(1e-3));  // nothing at 0, .9802 at 30
  // A probe that finds the contents warmer shifts them.
  CHECK(memory.recent(24, likely(), 2.0).contents == doctest::Approx(17.0));
}

TEST_CASE("a jar that moved forgets last week but not last year") {
  AirMemory memory;
  for (int i = 0; i < 300; ++i) memory.remember(hour(12, 0.6F), after_hours(i));
  memory.forget_recent();
  CHECK(memory.empty());
  CHECK(memory.season(after_hours(365 * 24), likely()));
}

TEST_CASE("a season is known after ten covered days of its month, not before") {
  AirMemory memory;
  for (int i = 0; i < 239; ++i) memory.remember(hour(12, 0.6F), after_hours(i));
  CHECK_FALSE(memory.season(after_hours(365 * 24 + 100), likely()));
  memory.remember(hour(12, 0.6F), after_hours(239));
  const auto march = memory.season(after_hours(365 * 24 + 100), likely());
  REQUIRE(march);
  CHECK(march->contents == doctest::Approx(12));
  CHECK_FALSE(memory.season(after_hours(60 * 24), likely()));  // May
}

TEST_CASE("hours without humidity tell of heat only") {
  AirMemory memory;
  AirHour dry = hour(20, 0);
  dry.humid = false;
  memory.remember(dry, after_hours(1));
  CHECK_FALSE(memory.knows_humidity());
  CHECK(memory.recent(24, likely(), 0).covered_share == 0.0);
  memory.remember(hour(20, 0.7F), after_hours(2));
  CHECK(memory.knows_humidity());
  CHECK(memory.recent(24, likely(), 0).vapour == doctest::Approx(0.7 * 2339));
}
