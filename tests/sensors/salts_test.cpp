#include "sensors/salts.h"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>

namespace torpor {
namespace {

TEST_CASE("the humidity over each salt is that of Greenspan's table 2") {
  // Greenspan 1977, table 2. Seen: 0, 25 and 50 degC of LiCl, MgCl2, NaCl, KCl, K2SO4; 25 degC of
  // K2CO3 and KNO3 from memory. The table cuts after two decimals, so the polynomial is 0 to 0.01
  // above it.
  struct Published {
    Salt salt;
    double celsius, percent;
  };
  for (const Published& row : {
           Published{Salt::lithium_chloride, 0, 11.23},
           {Salt::lithium_chloride, 25, 11.30},
           {Salt::lithium_chloride, 50, 11.10},
           {Salt::magnesium_chloride, 0, 33.66},
           {Salt::magnesium_chloride, 25, 32.78},
           {Salt::magnesium_chloride, 50, 30.54},
           {Salt::table_salt, 0, 75.51},
           {Salt::table_salt, 25, 75.29},
           {Salt::table_salt, 50, 74.43},
           {Salt::potassium_chloride, 0, 88.61},
           {Salt::potassium_chloride, 25, 84.34},
           {Salt::potassium_chloride, 50, 81.20},
           {Salt::potassium_sulphate, 0, 98.77},
           {Salt::potassium_sulphate, 25, 97.30},
           {Salt::potassium_sulphate, 50, 95.82},
           {Salt::potassium_carbonate, 25, 43.16},
           {Salt::potassium_nitrate, 25, 93.58},
       }) {
    CAPTURE(facts(row.salt).name);
    CAPTURE(row.celsius);
    const auto humidity = humidity_over(row.salt, Celsius(row.celsius));
    REQUIRE(humidity);
    CHECK(humidity->value() >= row.percent - 1e-9);
    CHECK(humidity->value() <= row.percent + 0.0101);
  }
}

TEST_CASE("table salt agrees with the handbook's exponential within its two percent") {
  // CRC: 69.20 exp(25/T), "accurate to 2 %".
  for (const double t : {5.0, 15.0, 25.0, 35.0}) {
    const double crc = 69.20 * std::exp(25.0 / (t + 273.15));
    CHECK(humidity_over(Salt::table_salt, Celsius(t))->value() ==
          doctest::Approx(crc).epsilon(0.02));
  }
}

TEST_CASE("outside its range a salt says nothing") {
  CHECK(humidity_over(Salt::table_salt, Celsius(50.0)));
  CHECK_FALSE(humidity_over(Salt::table_salt, Celsius(50.1)));
  CHECK_FALSE(humidity_over(Salt::table_salt, Celsius(-0.1)));
  CHECK(humidity_over(Salt::potassium_carbonate, Celsius(30.0)));
  CHECK_FALSE(humidity_over(Salt::potassium_carbonate, Celsius(30.1)));
  CHECK_FALSE(humidity_over(Salt::table_salt, Celsius(std::numeric_limits<double>::quiet_NaN())));
}

TEST_CASE("the table of salts is in the order of the enum and knows each by name and formula") {
  for (std::size_t i = 0; i < salts().size(); ++i) {
    const SaltFacts& row = salts()[i];
    CHECK(static_cast<std::size_t>(row.salt) == i);
    CHECK(salt_named(row.name) == row.salt);
    CHECK(salt_named(row.formula) == row.salt);
  }
  CHECK(salt_named("Table Salt") == Salt::table_salt);
  CHECK(salt_named("nacl") == Salt::table_salt);
  CHECK_FALSE(salt_named("salt"));
  CHECK_FALSE(salt_named(""));
}

}  // namespace
}  // namespace torpor
