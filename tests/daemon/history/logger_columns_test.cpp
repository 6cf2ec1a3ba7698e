#include "daemon/history/logger_columns.h"

#include <doctest/doctest.h>

#include <ostream>

namespace torpor::daemon {
namespace {

const LoggerColumns kBoth = {
    "date",
    false,
    {{Quantity::temperature, Unit::celsius, "T1"}, {Quantity::humidity, Unit::percent, "RH_1"}}};

TEST_CASE("a column list says which column is what") {
  struct Row {
    const char* text;
    LoggerColumns columns;
  };
  const Row rows[] = {
      {"time=date,temperature=T1:°C,humidity=RH_1:%", kBoth},
      {"time=date,temperature=T1:degC,humidity=RH_1:percent", kBoth},
      {"humidity=h:%,time=t", {"t", false, {{Quantity::humidity, Unit::percent, "h"}}}},
      {"time=at: local,temperature=T:1:K",
       {"at: local", false, {{Quantity::temperature, Unit::kelvin, "T:1"}}}},
      {"time=\"Date, Time\",temperature=\"Temp \"\"top\"\", °F\":°F",
       {"Date, Time", false, {{Quantity::temperature, Unit::fahrenheit, "Temp \"top\", °F"}}}},
      {"time=time_local,temperature=temperature_degC:°C,humidity=relative_humidity_percent:%",
       {"time_local",
        false,
        {{Quantity::temperature, Unit::celsius, "temperature_degC"},
         {Quantity::humidity, Unit::percent, "relative_humidity_percent"}}}},
  };
  for (const Row& row : rows) {
    CAPTURE(row.text);
    const auto columns = parse_logger_columns(row.text);
    REQUIRE_MESSAGE(columns, (columns ? "" : columns.error()));
    CHECK(*columns == row.columns);
  }
}

TEST_CASE("a faulty column list is answered with what was found and what was expected") {
  struct Row {
    const char* text;
    const char* error;
  };
  const Row rows[] = {
      {"",
       "there are no columns; write the columns as "
       "time=NAME,temperature=NAME:°C,humidity=NAME:%"},
      {"time",
       "\"time\" has no \"=\"; write the columns as "
       "time=NAME,temperature=NAME:°C,humidity=NAME:%"},
      {"T1,time=t",
       "\"T1\" has no \"=\"; write the columns as "
       "time=NAME,temperature=NAME:°C,humidity=NAME:%"},
      {"time=t,",
       "\"\" has no \"=\"; write the columns as "
       "time=NAME,temperature=NAME:°C,humidity=NAME:%"},
      {"time=,temperature=T:K",
       "the column of time has no name; write the columns as "
       "time=NAME,temperature=NAME:°C,humidity=NAME:%"},
      {"time=t,temperature=:K",
       "the column of temperature has no name; write the columns as "
       "time=NAME,temperature=NAME:°C,humidity=NAME:%"},
      {"time=t,temprature=T:K",
       "\"temprature\" is not something a column can hold; expected time or temperature or "
       "humidity or battery"},
      {"time=t,temperature=T",
       "the column of temperature has no unit; expected temperature=T:UNIT with UNIT one of °C, "
       "°F, K"},
      {"time=t,temperature=T:%", "\"%\" is not a unit of temperature; expected one of °C, °F, K"},
      {"time=t,humidity=H:degC", "\"degC\" is not a unit of humidity; expected one of %"},
      {"time=t,time=u,humidity=H:%", "time is given twice; keep one of them"},
      {"time=t,humidity=H:%,humidity=I:%",
       "humidity is given twice; one sensor has one column of it"},
      {"temperature=T:K",
       "no column is given as time; write the columns as "
       "time=NAME,temperature=NAME:°C,humidity=NAME:%"},
      {"time=t",
       "no column is given as a measured quantity; write the columns as "
       "time=NAME,temperature=NAME:°C,humidity=NAME:%"},
      {"time=\"t,humidity=H:%", "the quote of the column of time is never closed"},
      {"time=\"t\"x,humidity=H:%", "\"x\" after the quoted column of time; expected a comma"},
      {"time=t,humidity=\"H\"x:%",
       "\"x\" after the quoted column of humidity; expected \":\" and a unit"},
  };
  for (const Row& row : rows) {
    CAPTURE(row.text);
    const auto columns = parse_logger_columns(row.text);
    REQUIRE_FALSE(columns);
    CHECK(columns.error() == row.error);
  }
}

TEST_CASE("a header of quantity_unit names needs no list") {
  const auto columns = columns_of_header({"id", "temperature_degF", "time", "humidity_percent"});
  REQUIRE(columns);
  CHECK(*columns == LoggerColumns{"time",
                                  false,
                                  {{Quantity::temperature, Unit::fahrenheit, "temperature_degF"},
                                   {Quantity::humidity, Unit::percent, "humidity_percent"}}});
  const auto local = columns_of_header({"time_local", "temperature_K"});
  REQUIRE(local);
  CHECK(local->time == "time_local");
  CHECK(local->time_is_local);
  CHECK_FALSE(columns_of_header({"time_local", "time", "temperature_K"})->time_is_local);
}

TEST_CASE("a header that does not say enough is refused with what was found") {
  const std::string advice =
      "; expected time, temperature_degC, humidity_percent, or say which columns they are with "
      "--columns time=NAME,temperature=NAME:°C,humidity=NAME:%. Found: ";
  CHECK(columns_of_header({"date", "temperature_degC"}).error() ==
        "no column is named for the time; expected time, temperature_degC, humidity_percent, or "
        "say which columns they are with --columns time=NAME,temperature=NAME:°C,humidity=NAME:%. "
        "Found: date, temperature_degC");
  CHECK(columns_of_header({"time", "temperature_percent", "humidity"}).error() ==
        "no column is named for a measured quantity" + advice +
            "time, temperature_percent, humidity");
  CHECK(columns_of_header({"time", "temperature_degC", "temperature_K"}).error() ==
        "two columns hold temperature; say which one with --columns");
}

}  // namespace
}  // namespace torpor::daemon
