#include "rules/book/rule_quantity.h"

#include <array>

namespace torpor::rules {
namespace {

// Temperatures a store of jars can have: the range over which our psychrometrics hold, and a little
// over.
constexpr double kColdest = -40.0, kHottest = 90.0;
// Warmest air can hold: saturated at 90 °C, rounded up (70.1 kPa; 420 g/m³).
constexpr double kMostVapour = 72000.0, kMostVapourDensity = 430.0;
constexpr double kLongest = 10.0 * 366.0 * 86400.0;  // s: ten years, longer than a jar is kept

// Margins: about the noise of a common digital sensor (0.3 K, 1.5 % as data sheets state them,
// common practice, no single source), rounded up; the derived ones are what 2 % of humidity comes
// to at 20 °C. EEMUA 191's starting dead band for temperature, 1 % of range, is of the same size.
constexpr double kTemperatureMargin = 0.5, kHumidityMargin = 2.0, kVapourDensityMargin = 0.4,
                 kVapourPressureMargin = 50.0;

using enum RuleQuantity;
using D = Dimension;

constexpr std::array kRows{
    RuleQuantityFacts{temperature, Scope::place, "temperature", D::temperature, kColdest, kHottest,
                      kTemperatureMargin},
    RuleQuantityFacts{humidity, Scope::place, "humidity", D::percent, 0.0, 100.0, kHumidityMargin},
    RuleQuantityFacts{dew_point, Scope::place, "dew point", D::temperature, kColdest, kHottest,
                      kTemperatureMargin},
    RuleQuantityFacts{absolute_humidity, Scope::place, "absolute humidity", D::vapour_density, 0.0,
                      kMostVapourDensity, kVapourDensityMargin},
    RuleQuantityFacts{vapour_pressure, Scope::place, "vapour pressure", D::pressure, 0.0,
                      kMostVapour, kVapourPressureMargin},

    RuleQuantityFacts{temperature, Scope::jar, "temperature", D::temperature, kColdest, kHottest,
                      kTemperatureMargin},
    RuleQuantityFacts{humidity, Scope::jar, "humidity", D::percent, 0.0, 100.0, kHumidityMargin},
    RuleQuantityFacts{dew_point, Scope::jar, "dew point", D::temperature, kColdest, kHottest,
                      kTemperatureMargin},
    RuleQuantityFacts{absolute_humidity, Scope::jar, "absolute humidity", D::vapour_density, 0.0,
                      kMostVapourDensity, kVapourDensityMargin},
    RuleQuantityFacts{vapour_pressure, Scope::jar, "vapour pressure", D::pressure, 0.0, kMostVapour,
                      kVapourPressureMargin},
    RuleQuantityFacts{jar_temperature, Scope::jar, "jar temperature", D::temperature, kColdest,
                      kHottest, kTemperatureMargin},
    RuleQuantityFacts{self_heating, Scope::jar, "self-heating", D::temperature_difference, -50.0,
                      50.0, 0.3},
    RuleQuantityFacts{outer_dew_margin, Scope::jar, "outer dew margin", D::temperature_difference,
                      -100.0, 100.0, kTemperatureMargin},
    RuleQuantityFacts{inner_dew_margin, Scope::jar, "inner dew margin", D::temperature_difference,
                      -100.0, 100.0, kTemperatureMargin},
    RuleQuantityFacts{surface_activity, Scope::jar, "surface activity", D::number, 0.0, 1.0, 0.01},
    RuleQuantityFacts{body_activity, Scope::jar, "body activity", D::number, 0.0, 1.0, 0.01},
    RuleQuantityFacts{water_gained, Scope::jar, "water gained", D::mass, -100000.0, 100000.0, 2.0},
    RuleQuantityFacts{water_buffer, Scope::jar, "water buffer", D::mass, 0.0, 100000.0, 2.0},
    RuleQuantityFacts{wake_progress, Scope::jar, "wake progress", D::percent, 0.0, 1000.0, 5.0},
    RuleQuantityFacts{slow_work, Scope::jar, "slow work", D::percent, 0.0, 1000.0, 5.0},
    RuleQuantityFacts{time_to_wake, Scope::jar, "time to wake", D::duration, 0.0, kLongest,
                      86400.0},
    RuleQuantityFacts{sugar_shortfall, Scope::jar, "sugar shortfall", D::mass, 0.0, 100000.0, 2.0},
    RuleQuantityFacts{kinetic_temperature, Scope::jar, "kinetic temperature", D::temperature,
                      kColdest, kHottest, kTemperatureMargin},
    RuleQuantityFacts{time_since_opened, Scope::jar, "time since opened", D::duration, 0.0,
                      kLongest, 0.0},
    RuleQuantityFacts{waking_signs, Scope::jar, "waking signs", D::number, 0.0, 100.0, 0.0},
    // 1 under a cover that holds gas back, else 0.
    RuleQuantityFacts{gas_tight_lid, Scope::jar, "gas-tight lid", D::number, 0.0, 1.0, 0.0},
    RuleQuantityFacts{age, Scope::jar, "age", D::duration, 0.0, kLongest, 0.0},
    // Since a keeper last told what they saw of it; before that, since it was closed.
    RuleQuantityFacts{time_since_look, Scope::jar, "time since look", D::duration, 0.0, kLongest,
                      0.0},
    // 1 once something was found that spoils it, in it or in a jar of its line; else 0.
    RuleQuantityFacts{spoiled, Scope::jar, "spoiled", D::number, 0.0, 1.0, 0.0},

    RuleQuantityFacts{time_since_reading, Scope::sensor, "time since reading", D::duration, 0.0,
                      kLongest, 0.0},
    RuleQuantityFacts{spread, Scope::sensor, "spread", D::temperature_difference, 0.0, 150.0, 0.1},
    RuleQuantityFacts{humidity_spread, Scope::sensor, "humidity spread", D::percent, 0.0, 100.0,
                      0.5},
    RuleQuantityFacts{disagreement, Scope::sensor, "disagreement", D::temperature_difference, 0.0,
                      150.0, kTemperatureMargin},
    RuleQuantityFacts{humidity_disagreement, Scope::sensor, "humidity disagreement", D::percent,
                      0.0, 100.0, kHumidityMargin},
    RuleQuantityFacts{battery, Scope::sensor, "battery", D::percent, 0.0, 100.0, 5.0},
    RuleQuantityFacts{time_stuck, Scope::sensor, "time stuck", D::duration, 0.0, kLongest, 0.0},
    RuleQuantityFacts{time_disagreeing, Scope::sensor, "time disagreeing", D::duration, 0.0,
                      kLongest, 0.0},
    RuleQuantityFacts{time_drifting, Scope::sensor, "time drifting", D::duration, 0.0, kLongest,
                      0.0},
    RuleQuantityFacts{doubted_readings, Scope::sensor, "doubted readings", D::percent, 0.0, 100.0,
                      5.0},

    RuleQuantityFacts{time_since_broker, Scope::service, "time since broker", D::duration, 0.0,
                      kLongest, 0.0},
    RuleQuantityFacts{disk_free, Scope::service, "disk free", D::percent, 0.0, 100.0, 2.0},
    // The largest step of the board's clock within the last day, either way.
    RuleQuantityFacts{clock_step, Scope::service, "clock step", D::duration, 0.0, kLongest, 0.0},
};

}  // namespace

std::span<const RuleQuantityFacts> rule_quantities() { return kRows; }

const RuleQuantityFacts* find_rule_quantity(Scope scope, RuleQuantity quantity) {
  for (const RuleQuantityFacts& row : kRows) {
    if (row.scope == scope && row.quantity == quantity) return &row;
  }
  return nullptr;
}

const RuleQuantityFacts* find_rule_quantity(Scope scope, std::string_view name) {
  for (const RuleQuantityFacts& row : kRows) {
    if (row.scope == scope && row.name == name) return &row;
  }
  return nullptr;
}

const RuleQuantityFacts& facts(RuleQuantity quantity) {
  const RuleQuantityFacts* found = &kRows.front();
  for (const RuleQuantityFacts& row : kRows) {
    if (row.quantity == quantity) {
      found = &row;
      break;
    }
  }
  return *found;
}

std::string_view scope_name(Scope scope) {
  switch (scope) {
    case Scope::place:
      return "place";
    case Scope::jar:
      return "jar";
    case Scope::sensor:
      return "sensor";
    case Scope::service:
      return "service";
  }
  return "";
}

}  // namespace torpor::rules
