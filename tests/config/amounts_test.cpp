#include "config/amounts.h"

#include <doctest/doctest.h>

namespace torpor::config {
namespace {

TEST_CASE("durations are read in s, min, h and d, with or without a space") {
  struct {
    std::string text;
    std::int64_t ms;
  } const rows[] = {
      {"60 s", 60'000},
      {"90s", 90'000},
      {"30 min", 1'800'000},
      {"2 h", 7'200'000},
      {"1 d", 86'400'000},
      {"1.5 h", 5'400'000},
      {"  2   hours ", 7'200'000},
      {"1 minute", 60'000},
      {"0.001 s", 1},
      {"366 d", 31'622'400'000},
      {"0.0005 s", 1},
      {"1e3 s", 1'000'000},
  };
  for (const auto& row : rows) {
    CAPTURE(row.text);
    const auto read = parse_duration(row.text);
    REQUIRE(read.has_value());
    CHECK(read->count() == row.ms);
  }
}

TEST_CASE("a refused duration says what was found and what to write") {
  struct {
    std::string text;
    std::string error;
  } const rows[] = {
      {"60",
       "found `60`, which has no unit; expected a duration such as `60 s`, `30 min` or `2 h`"},
      {"soon", "found `soon`; expected a duration such as `60 s`, `30 min` or `2 h`"},
      {"", "found ``; expected a duration such as `60 s`, `30 min` or `2 h`"},
      {"nan s", "found `nan s`; expected a duration such as `60 s`, `30 min` or `2 h`"},
      {"inf d", "found `inf d`; expected a duration such as `60 s`, `30 min` or `2 h`"},
      {"1e999 s", "found `1e999 s`; expected a duration such as `60 s`, `30 min` or `2 h`"},
      {"5 weeks", "found `5 weeks`; `weeks` is not a unit here, write s, min, h or d"},
      {"1,5 h", "found `1,5 h`; `,5 h` is not a unit here, write s, min, h or d"},
      {"0 s", "found `0 s`; expected a duration of more than zero"},
      {"-5 s", "found `-5 s`; expected a duration of more than zero"},
      {"0.0004 s", "found `0.0004 s`; expected a duration of more than zero"},
      {"366.01 d", "found `366.01 d`; expected at most 366 d"},
      {"1e300 d", "found `1e300 d`; expected at most 366 d"},
  };
  for (const auto& row : rows) {
    CAPTURE(row.text);
    const auto read = parse_duration(row.text);
    REQUIRE_FALSE(read.has_value());
    CHECK(read.error() == row.error);
  }
}

TEST_CASE("volumes are read in cubic metres and litres") {
  CHECK(parse_volume_m3("18 m3").value() == 18.0);
  CHECK(parse_volume_m3("18 m³").value() == 18.0);
  CHECK(parse_volume_m3("400 l").value() == doctest::Approx(0.4));
  CHECK(parse_volume_m3("400L").value() == doctest::Approx(0.4));
  CHECK(parse_volume_m3("1e6 m3").has_value());
}

TEST_CASE("a refused volume says what was found and what to write") {
  CHECK(parse_volume_m3("18").error() ==
        "found `18`, which has no unit; expected a volume such as `18 m3` or `400 l`");
  CHECK(parse_volume_m3("18 gal").error() ==
        "found `18 gal`; `gal` is not a unit here, write m3, m³ or l");
  CHECK(parse_volume_m3("0 m3").error() ==
        "found `0 m3`; expected a volume of more than zero and at most a million m3");
  CHECK_FALSE(parse_volume_m3("1000001 m3").has_value());
}

TEST_CASE("a battery's voltage is read in volts and thousandths of them") {
  CHECK(parse_volts("2.2 V").value() == 2.2);
  CHECK(parse_volts("2200 mV").value() == doctest::Approx(2.2));
  CHECK(parse_volts("2.2").error() ==
        "found `2.2`, which has no unit; expected a voltage such as `2.2 V` or `2200 mV`");
  CHECK(parse_volts("0 V").error() ==
        "found `0 V`; expected a battery's voltage, more than zero and at most 1000 V");
  CHECK_FALSE(parse_volts("1000.1 V").has_value());
}

TEST_CASE("a time of day has two digits, a colon and two digits") {
  CHECK(parse_time_of_day("00:00") == 0);
  CHECK(parse_time_of_day("22:30") == 1350);
  CHECK(parse_time_of_day("23:59") == 1439);
  for (const std::string text :
       {"24:00", "22:60", "6:00", "22.00", "22:0", "-1:00", "22:000", "", "ab:cd"}) {
    CAPTURE(text);
    CHECK_FALSE(parse_time_of_day(text).has_value());
  }
}

}  // namespace
}  // namespace torpor::config
