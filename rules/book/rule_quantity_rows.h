// The table itself, for the rooms that check at compile time that they know every quantity whose
// value they supply.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <initializer_list>
#include <iterator>

#include "rules/book/rule_quantity.h"

namespace torpor::rules {
namespace rule_quantity_rows {

// Temperatures a store of jars can have: the range over which our psychrometrics hold, and a little
// over.
inline constexpr double kColdest = -40.0, kHottest = 90.0;
// Warmest air can hold: saturated at 90 °C, rounded up (70.1 kPa; 420 g/m³).
inline constexpr double kMostVapour = 72000.0, kMostVapourDensity = 430.0;
inline constexpr double kLongest =
    10.0 * 366.0 * 86400.0;  // s: ten years, longer than a jar is kept

// Margins: about the noise of a common digital sensor (0.3 K, 1.5 % as data sheets state them,
// common practice, no single source), rounded up; the derived ones are what 2 % of humidity comes
// to at 20 °C. EEMUA 191's starting dead band for temperature, 1 % of range, is of the same size.
inline constexpr double kTemperatureMargin = 0.5, kHumidityMargin = 2.0, kVapourDensityMargin = 0.4,
                        kVapourPressureMargin = 50.0;

using enum RuleQuantity;
using D = Dimension;

inline constexpr std::array kRows{
    RuleQuantityFacts{temperature, Scope::place, Source::air, "temperature", D::temperature,
                      kColdest, kHottest, kTemperatureMargin},
    RuleQuantityFacts{humidity, Scope::place, Source::air, "humidity", D::percent, 0.0, 100.0,
                      kHumidityMargin},
    RuleQuantityFacts{dew_point, Scope::place, Source::air, "dew point", D::temperature, kColdest,
                      kHottest, kTemperatureMargin},
    RuleQuantityFacts{absolute_humidity, Scope::place, Source::air, "absolute humidity",
                      D::vapour_density, 0.0, kMostVapourDensity, kVapourDensityMargin},
    RuleQuantityFacts{vapour_pressure, Scope::place, Source::air, "vapour pressure", D::pressure,
                      0.0, kMostVapour, kVapourPressureMargin},

    RuleQuantityFacts{temperature, Scope::jar, Source::air, "temperature", D::temperature, kColdest,
                      kHottest, kTemperatureMargin},
    RuleQuantityFacts{humidity, Scope::jar, Source::air, "humidity", D::percent, 0.0, 100.0,
                      kHumidityMargin},
    RuleQuantityFacts{dew_point, Scope::jar, Source::air, "dew point", D::temperature, kColdest,
                      kHottest, kTemperatureMargin},
    RuleQuantityFacts{absolute_humidity, Scope::jar, Source::air, "absolute humidity",
                      D::vapour_density, 0.0, kMostVapourDensity, kVapourDensityMargin},
    RuleQuantityFacts{vapour_pressure, Scope::jar, Source::air, "vapour pressure", D::pressure, 0.0,
                      kMostVapour, kVapourPressureMargin},
    RuleQuantityFacts{jar_temperature, Scope::jar, Source::model, "jar temperature", D::temperature,
                      kColdest, kHottest, kTemperatureMargin},
    RuleQuantityFacts{self_heating, Scope::jar, Source::model, "self-heating",
                      D::temperature_difference, -50.0, 50.0, 0.3},
    RuleQuantityFacts{outer_dew_margin, Scope::jar, Source::model, "outer dew margin",
                      D::temperature_difference, -100.0, 100.0, kTemperatureMargin},
    RuleQuantityFacts{inner_dew_margin, Scope::jar, Source::model, "inner dew margin",
                      D::temperature_difference, -100.0, 100.0, kTemperatureMargin},
    RuleQuantityFacts{surface_activity, Scope::jar, Source::model, "surface activity", D::number,
                      0.0, 1.0, 0.01},
    RuleQuantityFacts{body_activity, Scope::jar, Source::model, "body activity", D::number, 0.0,
                      1.0, 0.01},
    RuleQuantityFacts{water_gained, Scope::jar, Source::model, "water gained", D::mass, -100000.0,
                      100000.0, 2.0},
    RuleQuantityFacts{water_buffer, Scope::jar, Source::model, "water buffer", D::mass, 0.0,
                      100000.0, 2.0},
    RuleQuantityFacts{wake_progress, Scope::jar, Source::model, "wake progress", D::percent, 0.0,
                      1000.0, 5.0},
    RuleQuantityFacts{slow_work, Scope::jar, Source::model, "slow work", D::percent, 0.0, 1000.0,
                      5.0},
    RuleQuantityFacts{time_to_wake, Scope::jar, Source::forecast, "time to wake", D::duration, 0.0,
                      kLongest, 86400.0},
    RuleQuantityFacts{sugar_shortfall, Scope::jar, Source::model, "sugar shortfall", D::mass, 0.0,
                      100000.0, 2.0},
    RuleQuantityFacts{kinetic_temperature, Scope::jar, Source::model, "kinetic temperature",
                      D::temperature, kColdest, kHottest, kTemperatureMargin},
    RuleQuantityFacts{time_since_opened, Scope::jar, Source::telling, "time since opened",
                      D::duration, 0.0, kLongest, 0.0},
    RuleQuantityFacts{waking_signs, Scope::jar, Source::model, "waking signs", D::number, 0.0,
                      100.0, 0.0},
    // 1 under a cover that holds gas back, else 0.
    RuleQuantityFacts{gas_tight_lid, Scope::jar, Source::model, "gas-tight lid", D::number, 0.0,
                      1.0, 0.0},
    RuleQuantityFacts{age, Scope::jar, Source::telling, "age", D::duration, 0.0, kLongest, 0.0},
    // Since a keeper last told what they saw of it; before that, since it was closed.
    RuleQuantityFacts{time_since_look, Scope::jar, Source::telling, "time since look", D::duration,
                      0.0, kLongest, 0.0},
    // 1 once something was found that spoils it, in it or in a jar of its line; else 0.
    RuleQuantityFacts{spoiled, Scope::jar, Source::spoilage, "spoiled", D::number, 0.0, 1.0, 0.0},

    RuleQuantityFacts{time_since_reading, Scope::sensor, Source::silence, "time since reading",
                      D::duration, 0.0, kLongest, 0.0},
    RuleQuantityFacts{spread, Scope::sensor, Source::judges, "spread", D::temperature_difference,
                      0.0, 150.0, 0.1},
    RuleQuantityFacts{humidity_spread, Scope::sensor, Source::judges, "humidity spread", D::percent,
                      0.0, 100.0, 0.5},
    RuleQuantityFacts{disagreement, Scope::sensor, Source::judges, "disagreement",
                      D::temperature_difference, 0.0, 150.0, kTemperatureMargin},
    RuleQuantityFacts{humidity_disagreement, Scope::sensor, Source::judges, "humidity disagreement",
                      D::percent, 0.0, 100.0, kHumidityMargin},
    RuleQuantityFacts{battery, Scope::sensor, Source::judges, "battery", D::percent, 0.0, 100.0,
                      5.0},
    RuleQuantityFacts{time_stuck, Scope::sensor, Source::judges_since, "time stuck", D::duration,
                      0.0, kLongest, 0.0},
    RuleQuantityFacts{time_disagreeing, Scope::sensor, Source::judges_since, "time disagreeing",
                      D::duration, 0.0, kLongest, 0.0},
    RuleQuantityFacts{time_drifting, Scope::sensor, Source::judges_since, "time drifting",
                      D::duration, 0.0, kLongest, 0.0},
    RuleQuantityFacts{doubted_readings, Scope::sensor, Source::judges, "doubted readings",
                      D::percent, 0.0, 100.0, 5.0},

    RuleQuantityFacts{time_since_broker, Scope::service, Source::link, "time since broker",
                      D::duration, 0.0, kLongest, 0.0},
    RuleQuantityFacts{disk_free, Scope::service, Source::disk, "disk free", D::percent, 0.0, 100.0,
                      2.0},
    // The largest step of the board's clock within the last day, either way.
    RuleQuantityFacts{clock_step, Scope::service, Source::clock, "clock step", D::duration, 0.0,
                      kLongest, 0.0},
};

}  // namespace rule_quantity_rows

// One row for each scope and name.
inline constexpr auto& kRuleQuantityRows = rule_quantity_rows::kRows;

namespace rule_quantity_rows {

constexpr bool is_from(Source source, std::initializer_list<Source> sources) {
  for (const Source each : sources) {
    if (each == source) return true;
  }
  return false;
}

// The first row of its quantity.
constexpr bool is_first(std::size_t row) {
  for (std::size_t i = 0; i < row; ++i) {
    if (kRows[i].quantity == kRows[row].quantity) return false;
  }
  return true;
}

}  // namespace rule_quantity_rows

// How many quantities have one of these sources.
[[nodiscard]] constexpr std::size_t count_from(std::initializer_list<Source> sources) {
  std::size_t count = 0;
  for (std::size_t i = 0; i < kRuleQuantityRows.size(); ++i) {
    const bool is_one = rule_quantity_rows::is_first(i) &&
                        rule_quantity_rows::is_from(kRuleQuantityRows[i].source, sources);
    count += is_one ? 1 : 0;
  }
  return count;
}

// These, in the order of their rows. `Count` as of count_from().
template <std::size_t Count>
[[nodiscard]] constexpr std::array<RuleQuantity, Count> quantities_from(
    std::initializer_list<Source> sources) {
  std::array<RuleQuantity, Count> quantities{};
  std::size_t next = 0;
  for (std::size_t i = 0; i < kRuleQuantityRows.size(); ++i) {
    const bool is_one = rule_quantity_rows::is_first(i) &&
                        rule_quantity_rows::is_from(kRuleQuantityRows[i].source, sources);
    if (is_one) quantities[next++] = kRuleQuantityRows[i].quantity;
  }
  return quantities;
}

// Where each of `quantities` is in it, by the number of the quantity; 0 for others.
template <std::size_t Count>
[[nodiscard]] constexpr auto places_in(const std::array<RuleQuantity, Count>& quantities) {
  std::array<std::uint8_t, kRuleQuantityRows.size()> places{};
  for (std::size_t i = 0; i < Count; ++i) {
    places[static_cast<std::size_t>(quantities[i])] = static_cast<std::uint8_t>(i);
  }
  return places;
}

// Whether `table`, whose rows have a member `quantity`, has one row for each quantity of these
// sources, and no other.
template <class Table>
[[nodiscard]] constexpr bool covers(const Table& table, std::initializer_list<Source> sources) {
  for (const RuleQuantityFacts& row : kRuleQuantityRows) {
    std::size_t found = 0;
    for (const auto& each : table) found += each.quantity == row.quantity ? 1 : 0;
    if (found != (rule_quantity_rows::is_from(row.source, sources) ? 1U : 0U)) return false;
  }
  return std::size(table) == count_from(sources);
}

}  // namespace torpor::rules
