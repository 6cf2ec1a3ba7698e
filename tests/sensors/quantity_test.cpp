#include "sensors/quantity.h"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <type_traits>

namespace torpor {
namespace {

template <class A, class B>
concept Subtractable = requires(A a, B b) {
  a - b;
};
template <class A, class B>
concept Addable = requires(A a, B b) {
  a + b;
};
template <class A, class B>
concept Comparable = requires(A a, B b) {
  a < b;
};

// Amounts of different kinds do not mix, and a bare number is no amount.
static_assert(!std::is_convertible_v<double, Celsius>);
static_assert(!std::is_convertible_v<Celsius, double>);
static_assert(!std::is_constructible_v<Percent, Celsius>);
static_assert(!std::is_assignable_v<Celsius&, KelvinDifference>);
static_assert(!Subtractable<Celsius, Percent>);
static_assert(!Addable<Celsius, Celsius>, "two temperatures have a difference, but no sum");
static_assert(!Comparable<Celsius, KelvinDifference>);
static_assert(Subtractable<Celsius, Celsius> && Addable<Celsius, KelvinDifference>);

TEST_CASE("the table of quantities is in the order of the enum and knows each by its name") {
  REQUIRE(quantities().size() == 3);
  for (std::size_t i = 0; i < quantities().size(); ++i) {
    const QuantityFacts& row = quantities()[i];
    CHECK(static_cast<std::size_t>(row.quantity) == i + 1);
    CHECK(quantity_named(row.name) == row.quantity);
    CHECK(&facts(row.quantity) == &row);
    CHECK(measures(row.unit, row.quantity));
    CHECK(row.symbol == symbol(row.unit));
  }
  CHECK(quantity_named("temperature") == Quantity::temperature);
  CHECK(quantity_named("humidity") == Quantity::humidity);
  CHECK(quantity_named("Temperature") == std::nullopt);
  CHECK(quantity_named("") == std::nullopt);
}

TEST_CASE("units are read as people and standards write them, and not otherwise") {
  for (const char* name : {"°C", "C", "degC", "Cel"}) CHECK(unit_named(name) == Unit::celsius);
  for (const char* name : {"°F", "F", "degF"}) CHECK(unit_named(name) == Unit::fahrenheit);
  CHECK(unit_named("K") == Unit::kelvin);
  for (const char* name : {"%", "%RH", "percent"}) CHECK(unit_named(name) == Unit::percent);
  for (const char* name : {"", "c", "f", "k", "°K", "cel", "CEL", "% ", " C", "rh"}) {
    CAPTURE(name);
    CHECK(unit_named(name) == std::nullopt);
  }
  for (const Unit unit : {Unit::celsius, Unit::fahrenheit, Unit::kelvin, Unit::percent}) {
    CHECK(unit_named(symbol(unit)) == unit);
  }
}

TEST_CASE("a unit measures its own quantity only") {
  for (const Unit unit : {Unit::celsius, Unit::fahrenheit, Unit::kelvin}) {
    CHECK(measures(unit, Quantity::temperature));
    CHECK_FALSE(measures(unit, Quantity::humidity));
  }
  CHECK(measures(Unit::percent, Quantity::humidity));
  CHECK(measures(Unit::percent, Quantity::battery));
  CHECK_FALSE(measures(Unit::celsius, Quantity::battery));
  CHECK_FALSE(measures(Unit::percent, Quantity::temperature));
}

TEST_CASE("fixed points of the scales convert exactly") {
  CHECK(to_canonical(32.0, Unit::fahrenheit) == 0.0);
  CHECK(to_canonical(212.0, Unit::fahrenheit) == 100.0);
  CHECK(to_canonical(-40.0, Unit::fahrenheit) == -40.0);
  CHECK(to_canonical(273.15, Unit::kelvin) == 0.0);
  CHECK(to_canonical(373.15, Unit::kelvin) == 100.0);
  CHECK(to_canonical(21.5, Unit::celsius) == 21.5);
  CHECK(to_canonical(61.2, Unit::percent) == 61.2);
}

TEST_CASE("the largest numbers stay finite in every unit") {
  const double largest = std::numeric_limits<double>::max();
  for (const Unit unit : {Unit::celsius, Unit::fahrenheit, Unit::kelvin, Unit::percent}) {
    CHECK(std::isfinite(to_canonical(largest, unit)));
    CHECK(std::isfinite(to_canonical(-largest, unit)));
  }
}

TEST_CASE("the physical range is closed on both sides") {
  const auto possible = [](Quantity quantity, double value) {
    return physically_possible(quantity, value);
  };
  CHECK(possible(Quantity::temperature, -60.0));
  CHECK_FALSE(possible(Quantity::temperature, std::nextafter(-60.0, -61.0)));
  CHECK(possible(Quantity::temperature, 100.0));
  CHECK_FALSE(possible(Quantity::temperature, std::nextafter(100.0, 101.0)));
  CHECK(possible(Quantity::humidity, 0.0));
  CHECK_FALSE(possible(Quantity::humidity, -0.01));
  CHECK(possible(Quantity::humidity, 105.0));
  CHECK_FALSE(possible(Quantity::humidity, std::nextafter(105.0, 106.0)));
}

TEST_CASE("what failed sensors report is out of range") {
  // Data sheets, from memory: DS18B20 drivers give -127 for no answer; a digital sensor's all-ones
  // word is 130 degC (SHT3x), its all-zeros word -6 % (SHT2x).
  CHECK_FALSE(physically_possible(Quantity::temperature, -127.0));
  CHECK_FALSE(physically_possible(Quantity::temperature, 130.0));
  CHECK_FALSE(physically_possible(Quantity::humidity, -6.0));
}

}  // namespace
}  // namespace torpor
