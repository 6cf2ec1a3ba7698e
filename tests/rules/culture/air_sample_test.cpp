#include "rules/culture/air_sample.h"

#include <doctest/doctest.h>

#include <limits>

#include "rules/air/psychrometrics.h"
#include "rules/culture/heat.h"

using namespace torpor;
using namespace torpor::rules::culture;

TEST_CASE("air carries what every jar in it needs") {
  const auto made = Air::of(Celsius(25), Percent(60));
  REQUIRE(made);
  CHECK(made->vapour() ==
        doctest::Approx(rules::air::vapour_pressure(Celsius(25), Percent(60)).value()));
  CHECK(made->kinetic_weight() == KineticMean::weight(Celsius(25)));
  CHECK(*made == *Air::of(Celsius(25), Percent(60)));
  CHECK_FALSE(*made == *Air::of(Celsius(25), std::nullopt));
  CHECK_FALSE(*made == Air());
  CHECK_FALSE(Air().has_temperature());
}

TEST_CASE("the model's range is closed, and what lies beyond is refused in words") {
  CHECK(Air::of(Celsius(-20), Percent(0)));
  CHECK(Air::of(Celsius(60), Percent(100)));
  CHECK(Air::of(Celsius(90), std::nullopt).error() ==
        "90.0 °C cannot be the air of a storeroom (expected -20 to 60 °C): check the sensor and "
        "its unit");
  CHECK_FALSE(Air::of(Celsius(-20.001), std::nullopt));
  CHECK_FALSE(Air::of(Celsius(60.001), std::nullopt));
  CHECK(Air::of(Celsius(20), Percent(100.5)).error() ==
        "100.5 % cannot be a relative humidity (expected 0 to 100 %): check the sensor and its "
        "unit");
  CHECK_FALSE(Air::of(Celsius(20), Percent(-0.1)));
  CHECK_FALSE(Air::of(Celsius(std::numeric_limits<double>::quiet_NaN()), std::nullopt));
  CHECK_FALSE(Air::of(Celsius(20), Percent(std::numeric_limits<double>::quiet_NaN())));
}
