#include "daemon/command/air.h"

#include <doctest/doctest.h>

namespace torpor::daemon {

TEST_CASE("air of 25 °C and 60 % has the figures of the reference equations") {
  const auto view = answer_air({"25C", "60%", ""});
  REQUIRE(view.has_value());
  // Computed from Wagner and Pruss 1993 (saturation over water) at 101325 Pa; the tolerance is that
  // of a Magnus form, 0.35 %, and what it means for the dew point.
  CHECK(view->saturation_vapour_pressure.value() == doctest::Approx(3169.824).epsilon(0.0035));
  CHECK(view->vapour_pressure.value() == doctest::Approx(1901.894).epsilon(0.0035));
  CHECK(view->dew_point->value() == doctest::Approx(16.7018).epsilon(0.001));
  CHECK(view->absolute_humidity.value() == doctest::Approx(13.8216).epsilon(0.0035));
  CHECK(view->humidity_ratio.value() == doctest::Approx(0.0118974).epsilon(0.0035));
  CHECK(view->pressure == Pascal(101325.0));
}

TEST_CASE("the same air in other units is the same air") {
  const auto celsius = answer_air({"25C", "60%", ""});
  const auto fahrenheit = answer_air({"77F", "60", "1013.25hPa"});
  REQUIRE(celsius.has_value());
  REQUIRE(fahrenheit.has_value());
  CHECK(fahrenheit->dew_point->value() == doctest::Approx(celsius->dew_point->value()));
  CHECK(fahrenheit->humidity_ratio.value() == doctest::Approx(celsius->humidity_ratio.value()));
}

TEST_CASE("dry air has no dew point") {
  const auto view = answer_air({"25C", "0%", ""});
  REQUIRE(view.has_value());
  CHECK_FALSE(view->dew_point.has_value());
  CHECK(view->absolute_humidity.value() == 0.0);
}

TEST_CASE("air beyond what the formulas are good for is a usage failure") {
  CHECK(answer_air({"-20C", "60%", ""}).has_value());
  CHECK(answer_air({"60C", "60%", ""}).has_value());
  for (const char* temperature : {"-20.1C", "60.1C"}) {
    const auto view = answer_air({temperature, "60%", ""});
    REQUIRE_FALSE(view.has_value());
    CHECK(view.error().code == ExitCode::usage);
  }
  CHECK(answer_air({"60.1C", "60%", ""}).error().text ==
        "60.1 °C is outside -20 to 60 °C, where the formulas hold");
}

TEST_CASE("a pressure below that of the vapour is refused") {
  const auto view = answer_air({"25C", "60%", "1000"});
  REQUIRE_FALSE(view.has_value());
  CHECK(view.error().text.starts_with("a pressure of 1000 Pa is less than that of the vapour"));
}

}  // namespace torpor::daemon
