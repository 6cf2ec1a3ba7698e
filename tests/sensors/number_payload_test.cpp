#include <doctest/doctest.h>

#include <cmath>

#include "tests/sensors/decoded.h"

namespace torpor::test {
namespace {

PayloadFormat number_in(Unit unit) {
  PayloadFormat format;
  format.form = PayloadForm::number;
  Measure measure;
  measure.quantity = unit == Unit::percent ? Quantity::humidity : Quantity::temperature;
  measure.unit = unit;
  format.measures = {measure};
  return format;
}

std::string celsius(std::string_view payload) { return decoded(number_in(Unit::celsius), payload); }

TEST_CASE("a bare number is one reading, stamped on arrival") {
  CHECK(celsius("21.5") == "temperature 21.5 °C 2026-03-02T18:30:00Z arrival");
  CHECK(decoded(number_in(Unit::percent), "61.25") ==
        "humidity 61.25 % 2026-03-02T18:30:00Z arrival");
}

TEST_CASE("a number keeps the unit it was sent in, and its value is canonical") {
  const auto readings = decode(number_in(Unit::fahrenheit), "s1", "77", kArrival);
  REQUIRE(readings.has_value());
  REQUIRE(readings->size() == 1);
  const Reading& reading = readings->front();
  CHECK(reading.sensor == "s1");
  CHECK(reading.raw == 77.0);
  CHECK(reading.unit == Unit::fahrenheit);
  CHECK(reading.value() == 25.0);
  CHECK(reading.received_at == kArrival);
  CHECK(reading.trusted());
}

TEST_CASE("numbers are read as sensors write them") {
  struct Row {
    const char* payload;
    double value;
  };
  for (const Row& row :
       {Row{"21.5", 21.5}, Row{" 21.5\r\n", 21.5}, Row{"\t21.5 ", 21.5}, Row{"+21.5", 21.5},
        Row{"-3", -3.0}, Row{"021.50", 21.5}, Row{".5", 0.5}, Row{"5.", 5.0}, Row{"2.15e1", 21.5},
        Row{"215E-1", 21.5}, Row{"2e+1", 20.0}, Row{"0.1", 0.1},
        Row{"21.500000000000000000000000000000000000000001", 21.5}}) {
    CAPTURE(row.payload);
    const auto readings = decode(number_in(Unit::celsius), "s1", row.payload, kArrival);
    REQUIRE(readings.has_value());
    CHECK(readings->front().raw == row.value);
  }
}

TEST_CASE("minus zero becomes zero, whose sign the store can keep") {
  for (const char* payload : {"-0", "-0.0", "-0e5"}) {
    const auto readings = decode(number_in(Unit::celsius), "s1", payload, kArrival);
    REQUIRE(readings.has_value());
    CHECK(readings->front().raw == 0.0);
    CHECK_FALSE(std::signbit(readings->front().raw));
  }
}

TEST_CASE("what is no number is refused with what was found and what to do") {
  const std::string number = ", expected one plain number such as 21.5: ";
  const std::string comma = number + "write a decimal point, not a comma";
  const std::string after = number + "nothing may follow the number, no unit either";
  const std::string bare = number + "send the bare number";
  const std::string json =
      number + "this looks like JSON; set payload to json or senml in the configuration";
  struct Case {
    std::string_view payload;
    std::string result;
  };
  for (const Case& row : {
           Case{"21,5", "malformed: found '21,5'" + comma},
           Case{"21.5 °C", "malformed: found '21.5 °C'" + after},
           Case{"21.5C", "malformed: found '21.5C'" + after},
           Case{"0x15", "malformed: found '0x15'" + after},
           Case{"21 22", "malformed: found '21 22'" + after},
           Case{"1.2.3", "malformed: found '1.2.3'" + after},
           Case{"1e", "malformed: found '1e'" + after},
           Case{std::string_view("21.5\0", 5), "malformed: found '21.5\\x00'" + after},
           Case{"+-5", "malformed: found '+-5'" + bare},
           Case{"--5", "malformed: found '--5'" + bare},
           Case{"- 5", "malformed: found '- 5'" + bare},
           Case{"+", "malformed: found '+'" + bare},
           Case{"-", "malformed: found '-'" + bare},
           Case{".", "malformed: found '.'" + bare},
           Case{"-.", "malformed: found '-.'" + bare},
           Case{"\"21.5\"", "malformed: found '\"21.5\"'" + bare},
           Case{"null", "malformed: found 'null'" + bare},
           Case{"nan(1)", "malformed: found 'nan(1)'" + bare},
           Case{"{\"t\":1}", "malformed: found '{\"t\":1}'" + json},
       }) {
    CAPTURE(row.payload);
    CHECK(celsius(row.payload) == row.result);
  }
}

TEST_CASE("a sensor's words for no reading are not finite") {
  for (const char* payload : {"NaN", "nan", "-nan", "inf", "+Inf", "-Infinity", "INFINITY"}) {
    CHECK(celsius(payload) == "not_finite: '" + std::string(payload) +
                                  "' is not a number: the sensor has no reading; let it send "
                                  "nothing instead");
  }
}

TEST_CASE("numbers past a double's range are refused, the largest within are marked") {
  CHECK(celsius("1e999") ==
        "not_finite: the number '1e999' is too large or too small for any sensor: look at what it "
        "sends");
  CHECK(celsius("-1e99999999999999999999").starts_with("not_finite: "));
  CHECK(celsius("1e-999").starts_with("not_finite: "));
  CHECK(celsius(std::string(400, '9')).starts_with("not_finite: "));
  CHECK(celsius("1e308") == "temperature 1e+308 °C 2026-03-02T18:30:00Z arrival impossible");
}

}  // namespace
}  // namespace torpor::test
