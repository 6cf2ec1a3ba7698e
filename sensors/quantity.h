// What a sensor can measure, and strong types for physical amounts. A Celsius cannot be passed for
// a Percent: each amount is its own type, made explicitly from a double and read with value().
// Ground floor of the house: everything above includes this, it includes nothing of ours.
#pragma once

#include <compare>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>

namespace torpor {

// A number with a unit in its type. Finite by contract; the readers of outside text check that.
template <class Tag>
class Amount {
 public:
  constexpr Amount() = default;
  constexpr explicit Amount(double value) : value_(value) {}
  [[nodiscard]] constexpr double value() const { return value_; }
  friend constexpr auto operator<=>(Amount, Amount) = default;

 private:
  double value_ = 0.0;
};

using Celsius = Amount<struct CelsiusTag>;                // temperature, degC
using KelvinDifference = Amount<struct KelvinDiffTag>;    // temperature difference, K
using Percent = Amount<struct PercentTag>;                // relative humidity over water, 0-100
using Pascal = Amount<struct PascalTag>;                  // pressure, Pa
using GramsPerCubicMetre = Amount<struct GramsPerM3Tag>;  // absolute humidity, g/m3
using HumidityRatio = Amount<struct HumidityRatioTag>;    // kg water per kg dry air
using Grams = Amount<struct GramsTag>;                    // mass, g

constexpr KelvinDifference operator-(Celsius a, Celsius b) {
  return KelvinDifference(a.value() - b.value());
}
constexpr Celsius operator+(Celsius a, KelvinDifference d) {
  return Celsius(a.value() + d.value());
}

// What a sensor measures. Stored: do not renumber.
enum class Quantity : std::uint8_t { temperature = 1, humidity = 2, battery = 3 };

// A unit a reading arrives in. Stored: do not renumber.
enum class Unit : std::uint8_t { celsius = 1, fahrenheit = 2, kelvin = 3, percent = 4 };

// One row of the table of measured quantities.
struct QuantityFacts {
  Quantity quantity;
  std::string_view name;    // the word in configuration, rules and CSV headers: "temperature"
  Unit unit;                // canonical unit, in which the rest of the house computes
  std::string_view symbol;  // the unit as people read it: "°C", "%"
  std::string_view key;     // the unit as it ends a JSON key or CSV column: "degC", "percent"
  double lowest, highest;   // physical range, canonical unit; a value outside it is untrusted
  bool of_sensor;           // of the sensor itself, not of air or jar: a battery's charge
};

// The table, in the order of the enum.
[[nodiscard]] std::span<const QuantityFacts> quantities();
[[nodiscard]] const QuantityFacts& facts(Quantity quantity);
[[nodiscard]] std::optional<Quantity> quantity_named(std::string_view name);

// Reads a unit as people and standards write it: °C C degC Cel, °F F degF, K, % %RH percent.
// Case matters as in the standards, except that "c" and "f" are not accepted.
[[nodiscard]] std::optional<Unit> unit_named(std::string_view name);
[[nodiscard]] std::string_view symbol(Unit unit);
// True if the unit measures the quantity: Fahrenheit temperature, but not humidity.
[[nodiscard]] bool measures(Unit unit, Quantity quantity);
// Converts a raw value into the quantity's canonical unit. Precondition: measures(unit, quantity).
[[nodiscard]] double to_canonical(double raw, Unit unit);
// True if a canonical value is one that air or a jar can have (the table's closed range).
[[nodiscard]] bool physically_possible(Quantity quantity, double canonical);

}  // namespace torpor
