// Every row of the tables of quantities and remedies, from its word in a rule book to what is said
// and to an engine taken up again: a row that some part of the engine has forgotten fails here.
#include <doctest/doctest.h>

#include <nlohmann/json.hpp>

#include "rules/watch/jar_figures.h"
#include "tests/rules/watch/story.h"

namespace torpor::rules {
namespace {

using nlohmann::json;

constexpr int kDays = 3;

// Two sensors that speak in one place, of a battery too; a jar in it with a probe of its own.
Layout a_room() {
  Layout layout = a_cellar();
  for (SensorSpec& sensor : layout.sensors) {
    if (sensor.id != "s" && sensor.id != "s1") continue;
    sensor.place = "cellar";
    sensor.measures.push_back(Quantity::battery);
  }
  SensorSpec probe = layout.sensors.front();
  probe.id = "p";
  probe.place.clear();
  probe.jar = "B";
  probe.senses = Senses::culture;
  probe.measures = {Quantity::temperature};
  layout.sensors.push_back(std::move(probe));
  return layout;
}

culture::JarRecipe a_recipe() {
  culture::JarRecipe recipe;
  recipe.rice = Grams(1200.0);
  recipe.raw = Grams(560.0);
  recipe.sugar = Grams(1250.0);
  recipe.volume_ml = 3800.0;
  recipe.mouth_mm = 110.0;
  recipe.closed = minute(0);
  return recipe;
}

// Three days in which everything that can be known is.
Watch lived(const WatchSettings& settings) {
  Watch watch(settings);
  (void)watch.step(minute(0), LinkInput{true});
  (void)watch.step(minute(0), DiskInput{Percent(60.0)});
  (void)watch.step(minute(0), ClockSteppedInput{std::chrono::seconds(1)});
  (void)watch.step(minute(0), JarPlacedInput{"B", "cellar", minute(0)});
  (void)watch.step(minute(0), JarClosedInput{"B", "IMO-2", a_recipe()});
  for (int n = 0; n < kDays * 1440; n += 10) {
    ReadingsInput air;
    for (const char* sensor : {"s", "s1"}) {
      const double swing = (n / 60) % 24 < 12 ? 1.0 : 0.0;
      air.readings.push_back(a_reading(sensor, Quantity::temperature, 20.0 + swing, minute(n)));
      air.readings.push_back(a_reading(sensor, Quantity::humidity, 60.0 + swing, minute(n)));
      air.readings.push_back(a_reading(sensor, Quantity::battery, 80.0, minute(n)));
    }
    air.readings.push_back(a_reading("p", Quantity::temperature, 21.0, minute(n)));
    (void)watch.step(minute(n), air);
  }
  return watch;
}

// Taken up again it is the same engine.
void check_again(Watch& watch, const WatchSettings& settings) {
  const auto models = watch.take_jar_models();
  const std::string bytes = watch.snapshot();
  Watch again(settings);
  const auto restored = again.restore(bytes, models);
  if (!restored) FAIL(restored.error());
  CHECK(again.snapshot() == bytes);
  CHECK(again.open_alerts() == watch.open_alerts());
}

TEST_CASE("every quantity is parsed, evaluated, said, stored and restored") {
  for (const RuleQuantityFacts& row : rule_quantities()) {
    CAPTURE(row.name);
    CAPTURE(scope_name(row.scope));
    // Whatever is known is below the most that can be.
    const auto units = [&] {
      switch (row.dimension) {
        case Dimension::temperature:
          return RuleUnit::celsius;
        case Dimension::temperature_difference:
          return RuleUnit::kelvin;
        case Dimension::percent:
          return RuleUnit::percent;
        case Dimension::pressure:
          return RuleUnit::pascal;
        case Dimension::vapour_density:
          return RuleUnit::gram_per_cubic_metre;
        case Dimension::mass:
          return RuleUnit::gram;
        case Dimension::duration:
          return RuleUnit::second;
        case Dimension::volume:
          return RuleUnit::millilitre;
        case Dimension::number:
          break;
      }
      return RuleUnit::none;
    }();
    const std::string limit = to_text(
        from_canonical(row.lowest + 0.99 * (row.highest - row.lowest), units, row.dimension));
    const WatchSettings settings = settings_of({a_rule("row", std::string(scope_name(row.scope)),
                                                       std::string(row.name) + " at most " + limit,
                                                       std::string(row.name) + " above " + limit)},
                                               a_room());
    Watch watch = lived(settings);
    REQUIRE_FALSE(watch.open_alerts().empty());
    const Alert alert = watch.open_alerts().front();
    CHECK_FALSE(alert.what.empty());
    check_again(watch, settings);
  }
}

TEST_CASE("every remedy is parsed, advised, stored and restored") {
  for (const RemedyFacts& row : remedies()) {
    CAPTURE(row.name);
    auto rule = check_rule({"row",
                            "place",
                            "temperature above 15 °C",
                            "temperature below 10 °C",
                            "today",
                            "It matters.",
                            {std::string(row.name)}});
    REQUIRE(rule);
    const WatchSettings settings = settings_of({std::move(*rule)}, a_room());
    Watch watch = lived(settings);
    REQUIRE_FALSE(watch.open_alerts().empty());
    REQUIRE_FALSE(watch.open_alerts().front().remedies.empty());
    CHECK(watch.open_alerts().front().remedies.front().words.size() > 10);
    check_again(watch, settings);
  }
}

TEST_CASE("a snapshot with numbers for remedies and unnamed figures is read as it was meant") {
  auto rule = check_rule({"row",
                          "jar",
                          "time to wake above 1 h",
                          "time to wake below 1 h",
                          "today",
                          "It matters.",
                          {"look", "renew-vessel"}});
  REQUIRE(rule);
  const WatchSettings settings = settings_of({std::move(*rule)}, a_room());
  Watch watch = lived(settings);
  const auto models = watch.take_jar_models();
  const std::string bytes = watch.snapshot();
  json old = json::from_cbor(bytes);
  // As version 3 had them: the numbers of the remedies, and the figures in this order.
  old["version"] = 3;
  for (json& alert : old["alerts"]) {
    for (json& remedy : alert["remedies"]) {
      const auto named = remedy_named(remedy[0].get<std::string>());
      REQUIRE(named);
      remedy[0] = static_cast<int>(*named);
    }
  }
  const std::vector<std::string> order = {"jar temperature",
                                          "self-heating",
                                          "outer dew margin",
                                          "inner dew margin",
                                          "surface activity",
                                          "body activity",
                                          "water gained",
                                          "water buffer",
                                          "wake progress",
                                          "slow work",
                                          "time to wake",
                                          "sugar shortfall",
                                          "kinetic temperature",
                                          "",
                                          "waking signs",
                                          "gas-tight lid",
                                          "",
                                          ""};
  json& look = old["jars"][0][4][6];
  json values = json::array();
  for (const std::string& name : order) {
    const auto at = std::find(old["figures"].begin(), old["figures"].end(), name);
    values.push_back(at == old["figures"].end()
                         ? json(nullptr)
                         : look[1].at(static_cast<std::size_t>(at - old["figures"].begin())));
  }
  look[1] = values;
  old.erase("figures");
  std::string as_then;
  json::to_cbor(old, as_then);
  Watch again(settings);
  const auto restored = again.restore(as_then, models);
  if (!restored) FAIL(restored.error());
  CHECK(again.snapshot() == bytes);
}

}  // namespace
}  // namespace torpor::rules
