#include "sensors/quantity.h"

#include <array>
#include <cassert>
#include <utility>

namespace torpor {
namespace {

// The physical ranges tell a broken probe from extreme weather; they are not alarm limits.
// Temperature: no inhabited place is colder than -60 degC, and no jar or air a keeper can stand in
// is above the boiling point. What common sensors report when they fail lies outside: -127 degC (a
// 1-wire probe that does not answer), 130 degC (a digital humidity sensor reading all ones).
// Humidity: capacitive sensors overshoot 100 % by a few percent when wet; air itself is never more
// than about 1 % supersaturated outside a cloud chamber, so past 105 % it is the sensor.
// Battery: some devices send 255 when they do not know.
constexpr std::array kQuantities = {
    QuantityFacts{Quantity::temperature, "temperature", Unit::celsius, "°C", "degC", -60.0, 100.0,
                  false},
    QuantityFacts{Quantity::humidity, "humidity", Unit::percent, "%", "percent", 0.0, 105.0, false},
    QuantityFacts{Quantity::battery, "battery", Unit::percent, "%", "percent", 0.0, 100.0, true},
};

constexpr std::array<std::pair<std::string_view, Unit>, 11> kUnitNames = {{
    {"°C", Unit::celsius},
    {"C", Unit::celsius},
    {"degC", Unit::celsius},
    {"Cel", Unit::celsius},
    {"°F", Unit::fahrenheit},
    {"F", Unit::fahrenheit},
    {"degF", Unit::fahrenheit},
    {"K", Unit::kelvin},
    {"%", Unit::percent},
    {"%RH", Unit::percent},
    {"percent", Unit::percent},
}};

constexpr double kFreezingPointKelvin = 273.15;
constexpr double kFreezingPointFahrenheit = 32.0;
constexpr double kFahrenheitPerCelsius = 1.8;

}  // namespace

std::span<const QuantityFacts> quantities() { return kQuantities; }

const QuantityFacts& facts(Quantity quantity) {
  for (const QuantityFacts& row : kQuantities) {
    if (row.quantity == quantity) return row;
  }
  assert(false && "a quantity outside the enum");
  return kQuantities.front();
}

std::optional<Quantity> quantity_named(std::string_view name) {
  for (const QuantityFacts& row : kQuantities) {
    if (row.name == name) return row.quantity;
  }
  return std::nullopt;
}

std::optional<Unit> unit_named(std::string_view name) {
  for (const auto& [known, unit] : kUnitNames) {
    if (known == name) return unit;
  }
  return std::nullopt;
}

std::string_view symbol(Unit unit) {
  switch (unit) {
    case Unit::celsius:
      return "°C";
    case Unit::fahrenheit:
      return "°F";
    case Unit::kelvin:
      return "K";
    case Unit::percent:
      return "%";
  }
  assert(false && "a unit outside the enum");
  return "?";
}

bool measures(Unit unit, Quantity quantity) {
  return (unit == Unit::percent) == (quantity != Quantity::temperature);
}

double to_canonical(double raw, Unit unit) {
  switch (unit) {
    case Unit::celsius:
    case Unit::percent:
      return raw;
    case Unit::fahrenheit:
      // Divided, not multiplied by 5 and divided by 9: no finite raw value may overflow.
      return (raw - kFreezingPointFahrenheit) / kFahrenheitPerCelsius;
    case Unit::kelvin:
      return raw - kFreezingPointKelvin;
  }
  assert(false && "a unit outside the enum");
  return raw;
}

bool physically_possible(Quantity quantity, double canonical) {
  const QuantityFacts& row = facts(quantity);
  return canonical >= row.lowest && canonical <= row.highest;
}

}  // namespace torpor
