#include "daemon/command/arguments.h"

#include <doctest/doctest.h>

namespace torpor::daemon {

TEST_CASE("temperatures are read in every unit people write") {
  const struct {
    std::string_view text;
    double celsius;
  } good[] = {{"25C", 25.0}, {"25 °C", 25.0}, {"25degC", 25.0},  {"+25C", 25.0},    {"-5.5C", -5.5},
              {"77F", 25.0}, {"77 °F", 25.0}, {"298.15K", 25.0}, {" 2.5e1 C", 25.0}};
  for (const auto& example : good) {
    CAPTURE(example.text);
    const auto read = read_temperature(example.text);
    REQUIRE(read.has_value());
    CHECK(read->value() == doctest::Approx(example.celsius));
  }
  for (const char* bad : {"", "C", "25", "25%", "25,5C", "25C 3", "nanC", "infC", "25X"}) {
    CAPTURE(bad);
    CHECK_FALSE(read_temperature(bad).has_value());
  }
  CHECK(read_temperature("25X").error() ==
        "'25X' is not a temperature with its unit, such as 25C, 77F or 298.15K");
}

TEST_CASE("humidity is 0 to 100 with or without the sign") {
  CHECK(read_humidity("60%") == Percent(60.0));
  CHECK(read_humidity("60 %") == Percent(60.0));
  CHECK(read_humidity("60") == Percent(60.0));
  CHECK(read_humidity("0%") == Percent(0.0));
  CHECK(read_humidity("100%") == Percent(100.0));
  for (const char* bad : {"", "-0.1%", "100.1%", "60C", "%", "60%%"}) {
    CAPTURE(bad);
    CHECK_FALSE(read_humidity(bad).has_value());
  }
  CHECK(read_humidity("120%").error() ==
        "'120%' is not a relative humidity from 0 to 100 %, such as 60%");
}

TEST_CASE("pressure is in Pa where no unit is given") {
  CHECK(read_pressure("101325") == Pascal(101325.0));
  CHECK(read_pressure("950hPa") == Pascal(95000.0));
  CHECK(read_pressure("95 kPa") == Pascal(95000.0));
  for (const char* bad : {"", "0", "-1", "1 bar"}) {
    CAPTURE(bad);
    CHECK_FALSE(read_pressure(bad).has_value());
  }
}

TEST_CASE("durations carry their unit and have both limits") {
  using std::chrono::hours, std::chrono::minutes, std::chrono::seconds;
  CHECK(read_duration("1s") == seconds(1));
  CHECK(read_duration("15min") == minutes(15));
  CHECK(read_duration("1.5 h") == minutes(90));
  CHECK(read_duration("3650d") == hours(24 * 3650));
  for (const char* bad : {"", "15", "0.999s", "0h", "-1h", "3651d", "1 week"}) {
    CAPTURE(bad);
    CHECK_FALSE(read_duration(bad).has_value());
  }
}

TEST_CASE("what was typed is shown harmlessly") {
  CHECK(read_humidity("\x1b[2J").error().starts_with("'\\x1b[2J' is not"));
}

}  // namespace torpor::daemon
