// Bytes that are no snapshot, and snapshots taken up under other settings. That one taken up under
// the same settings continues exactly is in histories_test.cpp.
#include <doctest/doctest.h>

#include <nlohmann/json.hpp>

#include "tests/rules/watch/story.h"

namespace torpor::rules {
namespace {

Rule warm_when(const char* when = "temperature above 27 °C") {
  return a_rule("warm", "place", when, "temperature below 20 °C");
}

std::string snapshot_after(const WatchSettings& settings, const char* story) {
  Watch watch(settings);
  (void)tell(watch, story);
  return watch.snapshot();
}

TEST_CASE("bytes that are no snapshot are refused and change nothing") {
  const WatchSettings settings = settings_of({warm_when()});
  const std::string good = snapshot_after(settings, "0 s:t28; 1 +B=cellar");
  Watch watch(settings);
  (void)tell(watch, "5 s1:t28");
  const std::string before = watch.snapshot();
  CHECK(!watch.restore(""));
  CHECK(!watch.restore("not a snapshot"));
  for (std::size_t cut = 0; cut < good.size(); cut += 7) {
    CHECK(!watch.restore(std::string_view(good).substr(0, cut)));
  }
  CHECK(watch.snapshot() == before);
  // {"format": "torpor watch", "version": 5} in CBOR.
  const std::string newer = std::string("\xa2") + "\x66" + "format" + "\x6c" + "torpor watch" +
                            "\x67" + "version" + "\x05";
  const auto refused = watch.restore(newer);
  REQUIRE(!refused);
  CHECK(refused.error() == "the snapshot has version 5, this program reads version 4");
  CHECK(watch.restore(good).has_value());
}

TEST_CASE("a number that cannot stand where it stands is refused") {
  using nlohmann::json;
  using Pointer = json::json_pointer;
  const WatchSettings settings = settings_of({warm_when()});
  const json good = json::from_cbor(snapshot_after(settings, "0 s:t28; 1 +B=cellar"));
  const struct {
    const char* where;
    json put;
    const char* said;
  } rows[] = {
      {"/now", 1e300, "number"},
      {"/now", std::int64_t{1} << 61, "time"},
      {"/version", 3.5, "number"},
      {"/alerts/0/kind", 4, "kind"},
      {"/alerts/0/urgency", -1, "kind"},
      {"/alerts/0/number", -1, "number"},
      {"/alerts/0/notices", std::int64_t{1} << 40, "number"},
      {"/alerts/0/remedies/0/0", 1000, "remedy"},
      {"/alerts/0/remedies/0/0", "sing", "remedy"},
      {"/sensors/0/3/0/0", 0, "kind"},
      {"/sensors/0/3/0/2", 5, "kind"},
      {"/sensors/0/3/0/5", 300, "number"},
      {"/instances/0/0", 0.5, "number"},
  };
  for (const auto& row : rows) {
    CAPTURE(row.where);
    json damaged = good;
    REQUIRE(damaged.contains(Pointer(row.where)));
    damaged[Pointer(row.where)] = row.put;
    Watch watch(settings);
    const std::string before = watch.snapshot();
    const std::vector<std::uint8_t> bytes = json::to_cbor(damaged);
    const auto taken = watch.restore(std::string(bytes.begin(), bytes.end()));
    REQUIRE(!taken);
    CHECK(taken.error() == std::string("the snapshot of the engine is damaged: bad ") + row.said);
    CHECK(watch.snapshot() == before);
  }
}

TEST_CASE("an alert of a rule or subject that is gone ends at the next step") {
  const std::string bytes = snapshot_after(settings_of({warm_when()}), "0 s:t28 s1:t28 s2:t28");
  SUBCASE("the rule") {
    Watch watch(settings_of({a_rule("other", "place", "temperature above 30 °C")}));
    REQUIRE(watch.restore(bytes).has_value());
    CHECK(changes_text(tell(watch, "3 tick")) == "3 ended warm cellar");
  }
  SUBCASE("the place") {
    Layout layout = a_cellar();
    layout.sensors.erase(layout.sensors.begin());
    Watch watch(settings_of({warm_when()}, layout));
    REQUIRE(watch.restore(bytes).has_value());
    CHECK(changes_text(tell(watch, "3 tick")) == "3 ended warm cellar");
  }
}

TEST_CASE("a rewritten rule starts anew, but its standing alert stands until it eases") {
  const std::string bytes = snapshot_after(settings_of({warm_when()}), "0 s:t28; 5 seen");
  Watch watch(settings_of({warm_when("temperature above 24 °C lasting 30 min")}));
  REQUIRE(watch.restore(bytes).has_value());
  CHECK(changes_text(tell(watch, "10 tick; 25 s:t26; 40 tick")) == "");
  REQUIRE(watch.open_alerts().size() == 1);
  CHECK(watch.open_alerts()[0].seen_at.has_value());
  CHECK(changes_text(tell(watch, "41 s:t19")) == "41 eased warm cellar");
}

TEST_CASE("a new rule starts from what holds at the restart") {
  const std::string bytes = snapshot_after(settings_of({}), "0 s:t28; 20 s:t28");
  Watch watch(settings_of({a_rule("long", "place", "temperature above 27 °C lasting 10 min"),
                           a_rule("silent", "sensor", "time since reading at least 60 min")}));
  REQUIRE(watch.restore(bytes).has_value());
  CHECK(changes_text(tell(watch, "40 tick; 81 tick")) ==
        "30 raised long cellar; 60 raised silent o; 60 raised silent s1; 60 raised silent s2; "
        "80 raised silent s");
}

TEST_CASE("a new sensor is known from the restart on") {
  Layout before = a_cellar();
  before.sensors.pop_back();
  const Rule silent = a_rule("silent", "sensor", "time since reading at least 60 min");
  const std::string bytes =
      snapshot_after(settings_of({silent}, before), "0 s:t20; 50 s:t20 s1:t20 s2:t20");
  Watch watch(settings_of({silent}));
  REQUIRE(watch.restore(bytes).has_value());
  CHECK(changes_text(tell(watch, "55 s:t20 s1:t20 s2:t20; 110 s:t20 s1:t20 s2:t20; 116 tick")) ==
        "115 raised silent o");
}

TEST_CASE("alert numbers go on after the restart") {
  const WatchSettings settings = settings_of({warm_when()});
  const std::string bytes = snapshot_after(settings, "0 s:t28; 1 s:t19; 70 tick");
  Watch watch(settings);
  REQUIRE(watch.restore(bytes).has_value());
  (void)tell(watch, "80 s:t28");
  REQUIRE(watch.open_alerts().size() == 1);
  CHECK(watch.open_alerts()[0].number == 2);
}

}  // namespace
}  // namespace torpor::rules
