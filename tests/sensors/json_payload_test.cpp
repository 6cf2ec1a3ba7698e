#include <doctest/doctest.h>

#include "tests/sensors/decoded.h"

namespace torpor::test {
namespace {

Measure at(Quantity quantity, std::string pointer) {
  Measure measure;
  measure.quantity = quantity;
  measure.unit = facts(quantity).unit;
  measure.pointer = std::move(pointer);
  return measure;
}

PayloadFormat temperature_at(std::string pointer) {
  PayloadFormat format;
  format.form = PayloadForm::json;
  format.measures = {at(Quantity::temperature, std::move(pointer))};
  return format;
}

PayloadFormat timed(TimeFormat time) {
  PayloadFormat format = temperature_at("/t");
  format.time = TimeSource{"/ts", time};
  return format;
}

TEST_CASE("several quantities come out of one message in the order of the configuration") {
  PayloadFormat format = temperature_at("/t");
  format.measures.push_back(at(Quantity::humidity, "/rh"));
  format.time = TimeSource{"/ts", TimeFormat::seconds};
  CHECK(decoded(format, R"({"rh": 61.2, "ts": 1772476140, "t": 21.5, "battery": 3.1})") ==
        "temperature 21.5 °C 2026-03-02T18:29:00Z; humidity 61.2 % 2026-03-02T18:29:00Z");
}

TEST_CASE("one bad value refuses the whole message") {
  PayloadFormat format = temperature_at("/t");
  format.measures.push_back(at(Quantity::humidity, "/rh"));
  CHECK(decoded(format, R"({"t": 21.5, "rh": null})") ==
        "wrong_type: field /rh holds null: the sensor has no reading; let it send nothing instead");
  CHECK(decoded(format, R"({"t": 21.5})") ==
        "missing_field: there is no field /rh: the message holds t; check the pointer in the "
        "configuration");
}

TEST_CASE("a battery's charge may be missing, but not be nonsense") {
  PayloadFormat format = temperature_at("/t");
  format.measures.push_back(at(Quantity::battery, "/bat"));
  format.time = TimeSource{"/ts", TimeFormat::seconds};
  const std::string air = "temperature 21.5 °C 2026-03-02T18:29:00Z";
  CHECK(decoded(format, R"({"t": 21.5, "ts": 1772476140, "bat": 14})") ==
        air + "; battery 14 % 2026-03-02T18:29:00Z");
  CHECK(decoded(format, R"({"t": 21.5, "ts": 1772476140})") == air);
  CHECK(decoded(format, R"({"t": 21.5, "ts": 1772476140, "bat": null})") == air);
  CHECK(decoded(format, R"({"t": 21.5, "ts": 1772476140, "bat": "low"})") ==
        "wrong_type: field /bat holds the text \"low\": a number is sent without quotation marks");
}

TEST_CASE("a battery's volts become a charge between empty and full") {
  PayloadFormat format = temperature_at("/t");
  format.measures.push_back(at(Quantity::battery, "/v"));
  format.measures.back().volts = VoltageSpan{2.0, 3.0};
  struct Row {
    const char* volts;
    double charge;
    bool trusted;
  };
  // Beyond the ends by no more than the span it is empty or full; 3000 are millivolts.
  for (const Row& row :
       {Row{"2.5", 50.0, true}, Row{"2", 0.0, true}, Row{"3.2", 100.0, true}, Row{"1.2", 0.0, true},
        Row{"4", 100.0, true}, Row{"4.5", 250.0, false}, Row{"3000", 299800.0, false}}) {
    CAPTURE(row.volts);
    const auto readings =
        decode(format, "s1", R"({"t": 21.5, "v": )" + std::string(row.volts) + "}", kArrival);
    REQUIRE(readings.has_value());
    REQUIRE(readings->size() == 2);
    CHECK(readings->back().quantity == Quantity::battery);
    CHECK(readings->back().raw == doctest::Approx(row.charge));
    CHECK(readings->back().unit == Unit::percent);
    CHECK(readings->back().trusted() == row.trusted);
  }
}

TEST_CASE("pointers follow RFC 6901") {
  // Section 5: the RFC's own document and pointers.
  const char* document = R"({"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3,
    "g|h": 4, "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8, "list": [10, [20, 21]]})";
  struct Row {
    const char* pointer;
    double value;
  };
  for (const Row& row : {Row{"/", 0}, Row{"/a~1b", 1}, Row{"/c%d", 2}, Row{"/e^f", 3},
                         Row{"/g|h", 4}, Row{"/i\\j", 5}, Row{"/k\"l", 6}, Row{"/ ", 7},
                         Row{"/m~0n", 8}, Row{"/list/0", 10}, Row{"/list/1/1", 21}}) {
    CAPTURE(row.pointer);
    const auto readings = decode(temperature_at(row.pointer), "s1", document, kArrival);
    REQUIRE(readings.has_value());
    CHECK(readings->front().raw == row.value);
  }
  for (const char* pointer :
       {"/nothing", "/list/2", "/list/-", "/list/01", "/list/00", "/list/x", "/list/1/", "/list/+1",
        "/list/-1", "/a/b", "/m~2n", "/m~", "t", "/list/99999999999999999999", "/foo/0/x"}) {
    CAPTURE(pointer);
    CHECK(decoded(temperature_at(pointer), document).starts_with("missing_field: there is no "));
  }
}

TEST_CASE("the empty pointer reads a whole document that is one number") {
  CHECK(decoded(temperature_at(""), " 21.5 ") ==
        "temperature 21.5 °C 2026-03-02T18:30:00Z arrival");
  CHECK(decoded(temperature_at(""), "[21.5]") ==
        "wrong_type: the document holds an array: expected a number");
}

TEST_CASE("a value of another type is named") {
  struct Row {
    const char* payload;
    const char* result;
  };
  for (const Row& row :
       {Row{R"({"t": "21.5"})",
            "wrong_type: field /t holds the text \"21.5\": a number is sent without quotation "
            "marks"},
        Row{R"({"t": ""})",
            "wrong_type: field /t holds the text \"\": a number is sent without quotation marks"},
        Row{R"({"t": true})", "wrong_type: field /t holds true: expected a number"},
        Row{R"({"t": {}})", "wrong_type: field /t holds an object: expected a number"},
        Row{R"({"t": [1]})", "wrong_type: field /t holds an array: expected a number"}}) {
    CHECK(decoded(temperature_at("/t"), row.payload) == row.result);
  }
}

TEST_CASE("a missing field says what the message holds instead") {
  CHECK(decoded(temperature_at("/t"), "{}") ==
        "missing_field: there is no field /t: the message is an empty object; check the pointer in "
        "the configuration");
  CHECK(decoded(temperature_at("/t"), "[1]") ==
        "missing_field: there is no field /t: the message is an array; check the pointer in the "
        "configuration");
  CHECK(decoded(temperature_at("/t"), R"({"a":1,"b":1,"c":1,"d":1,"e":1,"f":1,"g":1})") ==
        "missing_field: there is no field /t: the message holds a, b, c, d, e, f, ...; check the "
        "pointer in the configuration");
}

TEST_CASE("what is not JSON is refused where it goes wrong") {
  struct Row {
    std::string_view payload;
    const char* result;
  };
  for (const Row& row :
       {Row{"{\"t\": 21,5}",
            "malformed: not valid JSON at byte 10 of 11, at '5}': expected an object such as "
            "{\"t\": 21.5}"},
        Row{"hello",
            "malformed: not valid JSON at byte 1 of 5, at 'hello': expected an object such as "
            "{\"t\": 21.5}"},
        Row{"{'t': 1}",
            "malformed: not valid JSON at byte 2 of 8, at ''t': 1}': expected an object such as "
            "{\"t\": 21.5}"},
        Row{"{\"t\": 21.5",
            "malformed: the JSON stops too early, after 10 bytes: the sensor may be cutting long "
            "messages short"},
        Row{"{\"t\": 1} {\"t\": 2}",
            "malformed: not valid JSON at byte 10 of 17, at '{\"t\": 2}': expected an object such "
            "as {\"t\": 21.5}"},
        Row{"{\"t\": 0x15}",
            "malformed: not valid JSON at byte 8 of 11, at 'x15}': expected an object such as "
            "{\"t\": 21.5}"},
        Row{"{\"t\": 1\n\x01}",
            "malformed: not valid JSON at byte 9 of 10, at '\\x01}': expected an object such as "
            "{\"t\": 21.5}"}}) {
    CAPTURE(row.payload);
    CHECK(decoded(temperature_at("/t"), row.payload) == row.result);
  }
}

TEST_CASE("not-a-number and numbers past a double's range are not finite") {
  for (const char* word : {"NaN", "nan", "Infinity", "-Infinity", "inf"}) {
    CAPTURE(word);
    const std::string result = decoded(temperature_at("/t"), "{\"t\": " + std::string(word) + "}");
    CHECK(result.starts_with("not_finite: "));
    CHECK(result.ends_with(
        "is not a number: the sensor has no reading; let it send nothing instead"));
  }
  CHECK(decoded(temperature_at("/t"), R"({"t": 1e999})") ==
        "not_finite: a number in the JSON is too large for any sensor: look at what it sends");
  CHECK(decoded(temperature_at("/t"), "{\"t\": " + std::string(100'000, '9') + "}")
            .starts_with("not_finite: "));
}

TEST_CASE("large whole numbers are numbers like any other") {
  CHECK(decoded(temperature_at("/t"), R"({"t": 18446744073709551616})") ==
        "temperature 1.84467e+19 °C 2026-03-02T18:30:00Z arrival impossible");
  CHECK(decoded(temperature_at("/t"), R"({"t": -9223372036854775809})") ==
        "temperature -9.22337e+18 °C 2026-03-02T18:30:00Z arrival impossible");
}

TEST_CASE("a key that occurs twice is refused, because readers differ on which counts") {
  CHECK(decoded(temperature_at("/t"), R"({"t": 1, "t": 2})") ==
        "malformed: the key \"t\" occurs twice in one object: which of the two counts is not said, "
        "so neither is taken");
  CHECK(decoded(temperature_at("/t"), R"({"t": 1, "a": {"t": 2}, "b": [{"t": 3}, {"t": 4}]})") ==
        "temperature 1 °C 2026-03-02T18:30:00Z arrival");
}

std::string nested(int levels) {
  const auto count = static_cast<std::size_t>(levels);
  return std::string(count, '[') + "1" + std::string(count, ']');
}

TEST_CASE("nesting is read to sixteen levels and refused beyond, however deep") {
  const std::string pointer = "/0/0/0/0/0/0/0/0/0/0/0/0/0/0/0/0";
  CHECK(decoded(temperature_at(pointer), nested(16)) ==
        "temperature 1 °C 2026-03-02T18:30:00Z arrival");
  for (const int levels : {17, 1000, 131'000}) {
    CHECK(decoded(temperature_at(pointer), nested(levels)) ==
          "malformed: the JSON is nested deeper than 16 levels: let the sensor send its values in "
          "one flat object");
  }
  CHECK(decoded(temperature_at("/t"), std::string(kLargestPayload, '[')).starts_with("malformed"));
  std::string objects;
  while (objects.size() + 5 < kLargestPayload) objects += "{\"a\":";
  CHECK(decoded(temperature_at("/t"), objects).starts_with("malformed"));
}

TEST_CASE("time formats give the same moment") {
  const std::string expected = "temperature 1 °C 2026-03-02T18:29:00.250Z";
  CHECK(decoded(timed(TimeFormat::seconds), R"({"t":1,"ts":1772476140.25})") == expected);
  CHECK(decoded(timed(TimeFormat::milliseconds), R"({"t":1,"ts":1772476140250})") == expected);
  CHECK(decoded(timed(TimeFormat::rfc3339), R"({"t":1,"ts":"2026-03-02T19:29:00.25+01:00"})") ==
        expected);
}

TEST_CASE("fractional seconds are read to the nearest millisecond") {
  // 1772476140.123 is not a double: the nearest one times 1000 falls just short of .123.
  CHECK(decoded(timed(TimeFormat::seconds), R"({"t":1,"ts":1772476140.123})") ==
        "temperature 1 °C 2026-03-02T18:29:00.123Z");
}

TEST_CASE("a time of the wrong kind is refused") {
  CHECK(decoded(timed(TimeFormat::seconds), R"({"t":1})") ==
        "missing_field: there is no field /ts: the message holds t; check the pointer in the "
        "configuration");
  CHECK(decoded(timed(TimeFormat::seconds), R"({"t":1,"ts":"1772476140"})") ==
        "wrong_type: field /ts holds the text \"1772476140\": a number is sent without quotation "
        "marks");
  CHECK(decoded(timed(TimeFormat::rfc3339), R"({"t":1,"ts":1772476140})") ==
        "wrong_type: field /ts holds a number: expected a time as text, such as "
        "\"2026-03-02T18:30:00Z\"");
  CHECK(
      decoded(timed(TimeFormat::rfc3339), R"({"t":1,"ts":"2026-03-02 18:30"})") ==
      "malformed: field /ts holds \"2026-03-02 18:30\": expected a date and time with its offset, "
      "such as 2026-03-02T18:30:00Z");
}

TEST_CASE("up to five minutes ahead of the arrival is a sensor's clock, beyond is the future") {
  CHECK(decoded(timed(TimeFormat::milliseconds), R"({"t":1,"ts":1772476500000})") ==
        "temperature 1 °C 2026-03-02T18:35:00Z");
  CHECK(decoded(timed(TimeFormat::milliseconds), R"({"t":1,"ts":1772476500001})") ==
        "future: measured at 2026-03-02T18:35:00.001Z, more than 5 min after it arrived "
        "(2026-03-02T18:30:00Z): set the sensor's clock");
}

TEST_CASE("the year 2000 begins what is believed") {
  CHECK(decoded(timed(TimeFormat::rfc3339), R"({"t":1,"ts":"2000-01-01T00:00:00Z"})") ==
        "temperature 1 °C 2000-01-01T00:00:00Z");
  CHECK(decoded(timed(TimeFormat::rfc3339), R"({"t":1,"ts":"1999-12-31T23:59:59.999Z"})") ==
        "before_2000: measured at 1999-12-31T23:59:59.999Z, before 2000: set the sensor's clock");
  CHECK(decoded(timed(TimeFormat::seconds), R"({"t":1,"ts":0})") ==
        "before_2000: measured at 1970-01-01T00:00:00Z, before 2000: set the sensor's clock");
}

TEST_CASE("seconds and milliseconds taken for each other are recognised") {
  CHECK(decoded(timed(TimeFormat::seconds), R"({"t":1,"ts":1772476140000})") ==
        "future: measured at 1.77248e+12 s after 1970, more than 5 min after it arrived "
        "(2026-03-02T18:30:00Z): it looks like milliseconds taken for seconds");
  CHECK(decoded(timed(TimeFormat::milliseconds), R"({"t":1,"ts":1772476140})") ==
        "before_2000: measured at 1970-01-21T12:21:16.140Z, before 2000: it looks like seconds "
        "taken for milliseconds");
}

TEST_CASE("absurd times are refused without overflow") {
  for (const char* time : {"1e308", "9223372036854775807", "18446744073709551615", "1e19"}) {
    CAPTURE(time);
    const std::string payload = "{\"t\":1,\"ts\":" + std::string(time) + "}";
    CHECK(decoded(timed(TimeFormat::seconds), payload).starts_with("future: "));
    CHECK(decoded(timed(TimeFormat::milliseconds), payload).starts_with("future: "));
    const std::string past = "{\"t\":1,\"ts\":-" + std::string(time) + "}";
    CHECK(decoded(timed(TimeFormat::seconds), past).starts_with("before_2000: "));
    CHECK(decoded(timed(TimeFormat::milliseconds), past).starts_with("before_2000: "));
  }
}

}  // namespace
}  // namespace torpor::test
