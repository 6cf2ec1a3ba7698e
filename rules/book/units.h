// Units of the rule language: what each measures and how it converts. A temperature difference is
// not a temperature: K measures both, °C and °F only temperatures. Not for payloads, whose units
// are in sensors/quantity.h.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "sensors/reading.h"

namespace torpor::rules {

enum class Dimension : std::uint8_t {
  temperature,             // canonical °C
  temperature_difference,  // canonical K
  percent,                 // canonical %
  pressure,                // canonical Pa
  vapour_density,          // canonical g/m³
  mass,                    // canonical g
  volume,                  // canonical ml
  duration,                // canonical s
  number,                  // no unit: a water activity
};

enum class RuleUnit : std::uint8_t {
  celsius,
  fahrenheit,
  kelvin,
  percent,
  pascal,
  hectopascal,
  kilopascal,
  gram_per_cubic_metre,
  gram,
  kilogram,
  ounce,
  pound,
  millilitre,
  litre,
  gallon,
  second,
  minute,
  hour,
  day,
  none,
};

struct UnitFacts {
  RuleUnit unit;
  std::string_view symbol;   // as printed: "°C"
  std::string_view aliases;  // further spellings, separated by spaces
  Dimension dimension;       // kelvin: temperature; it measures differences as well
  double scale;              // canonical = number * scale + offset
  double offset;
};

[[nodiscard]] const UnitFacts& facts(RuleUnit unit);
// Exact case, as units are written. "c" and "f" are not accepted, as in sensors/quantity.h.
[[nodiscard]] std::optional<RuleUnit> rule_unit_named(std::string_view word);
[[nodiscard]] bool measures(RuleUnit unit, Dimension dimension);
// "°C, °F or K": what to write for a dimension; empty for Dimension::number.
[[nodiscard]] std::string units_for(Dimension dimension);
// The symbol of the canonical unit, as shown with a figure; empty for Dimension::number.
[[nodiscard]] std::string_view canonical_symbol(Dimension dimension);

// A number with the unit it is written in.
struct WrittenAmount {
  double number = 0.0;
  RuleUnit unit = RuleUnit::none;
  friend bool operator==(const WrittenAmount&, const WrittenAmount&) = default;
};

// In the dimension's canonical unit. Precondition: measures(amount.unit, dimension).
[[nodiscard]] double to_canonical(const WrittenAmount& amount, Dimension dimension);
// The inverse, in the given unit, to nine significant digits: enough for any sensor, and 80.6 °F
// less half a kelvin stays 79.7 °F.
[[nodiscard]] WrittenAmount from_canonical(double canonical, RuleUnit unit, Dimension dimension);
// "27 °C", "60 %", "0.87", "2 h".
[[nodiscard]] std::string to_text(const WrittenAmount& amount);

// "90 min", "2 h", "7 d": whole, in the largest unit that divides it. Precondition: whole seconds.
[[nodiscard]] std::string duration_text(Duration duration);
[[nodiscard]] WrittenAmount written_duration(Duration duration);

}  // namespace torpor::rules
