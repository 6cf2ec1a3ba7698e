#include <doctest/doctest.h>

#include "tests/sensors/decoded.h"

namespace torpor::test {
namespace {

PayloadFormat senml() {
  PayloadFormat format;
  format.form = PayloadForm::senml;
  return format;
}

PayloadFormat senml_named(std::string name, Quantity quantity = Quantity::temperature) {
  PayloadFormat format = senml();
  Measure measure;
  measure.quantity = quantity;
  measure.unit = facts(quantity).unit;
  measure.name = std::move(name);
  format.measures = {measure};
  return format;
}

TEST_CASE("the RFC's single data point is read, stamped on arrival") {
  // RFC 8428, section 5.1.1.
  CHECK(decoded(senml(), R"([{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}])") ==
        "temperature 23.1 °C 2026-03-02T18:30:00Z arrival");
}

TEST_CASE("records of units that nothing measures are passed over, a battery's charge is read") {
  // RFC 8428, section 5.1.3: humidity of a moving sensor among positions and a battery.
  const char* pack = R"([
    {"bn":"urn:dev:ow:10e2073a01080063","bt":1320067464,"bu":"%RH","v":21.2},
    {"u":"lon","v":24.30621},
    {"u":"lat","v":60.07965},
    {"t":60,"v":20.3},
    {"u":"lon","t":60,"v":24.30622},
    {"u":"lat","t":60,"v":60.07965},
    {"t":120,"v":20.7},
    {"u":"lon","t":120,"v":24.30623},
    {"u":"lat","t":120,"v":60.07966},
    {"u":"%EL","t":150,"v":98},
    {"t":180,"v":21.2}])";
  CHECK(decoded(senml(), pack) ==
        "humidity 21.2 % 2011-10-31T13:24:24Z; humidity 20.3 % 2011-10-31T13:25:24Z; "
        "humidity 20.7 % 2011-10-31T13:26:24Z; battery 98 % 2011-10-31T13:26:54Z; "
        "humidity 21.2 % 2011-10-31T13:27:24Z");
}

TEST_CASE("base fields persist until a record replaces them") {
  CHECK(decoded(senml(), R"([{"bn":"a:","bt":1772476100,"bu":"Cel","bv":20,"n":"t","v":1.5},
                             {"n":"t","t":10,"v":2.5},
                             {"bt":1772476150,"bv":0,"n":"t","v":22},
                             {"bu":"%RH","n":"h","v":60},
                             {"n":"t","u":"Cel","v":23}])") ==
        "temperature 21.5 °C 2026-03-02T18:28:20Z; temperature 22.5 °C 2026-03-02T18:28:30Z; "
        "temperature 22 °C 2026-03-02T18:29:10Z; humidity 60 % 2026-03-02T18:29:10Z; "
        "temperature 23 °C 2026-03-02T18:29:10Z");
}

TEST_CASE("a record with bases alone sets them for the next") {
  CHECK(decoded(senml(), R"([{"bt":1772476100,"bu":"K"},{"n":"t","v":293.15}])") ==
        "temperature 293.15 K 2026-03-02T18:28:20Z");
}

TEST_CASE("a time below 2^28 is relative to the arrival, from 2^28 on it is absolute") {
  CHECK(decoded(senml(), R"([{"n":"t","u":"Cel","v":1,"t":-60}])") ==
        "temperature 1 °C 2026-03-02T18:29:00Z arrival");
  CHECK(decoded(senml(), R"([{"n":"t","u":"Cel","v":1,"t":-0.25}])") ==
        "temperature 1 °C 2026-03-02T18:29:59.750Z arrival");
  CHECK(decoded(senml(), R"([{"n":"t","u":"Cel","v":1,"t":300}])") ==
        "temperature 1 °C 2026-03-02T18:35:00Z arrival");
  CHECK(decoded(senml(), R"([{"n":"t","u":"Cel","v":1,"t":300.001}])").starts_with("future: "));
  // 2^28 - 1 s ahead of now is the future; 2^28 s after 1970 is 1978.
  CHECK(decoded(senml(), R"([{"n":"t","u":"Cel","v":1,"t":268435455}])") ==
        "future: measured at 2034-09-03T15:54:15Z, more than 5 min after it arrived "
        "(2026-03-02T18:30:00Z): set the sensor's clock");
  CHECK(decoded(senml(), R"([{"n":"t","u":"Cel","v":1,"t":268435456}])") ==
        "before_2000: measured at 1978-07-04T21:24:16Z, before 2000: set the sensor's clock");
}

TEST_CASE("it is the sum of base time and time that is relative or absolute") {
  CHECK(decoded(senml(), R"([{"bt":1772476200,"n":"t","u":"Cel","v":1,"t":-5}])") ==
        "temperature 1 °C 2026-03-02T18:29:55Z");
  CHECK(decoded(senml(), R"([{"bt":268435455,"n":"t","u":"Cel","v":1,"t":1}])")
            .starts_with("before_2000: "));
  CHECK(decoded(senml(), R"([{"bt":-268435456,"n":"t","u":"Cel","v":1,"t":268435451}])") ==
        "temperature 1 °C 2026-03-02T18:29:55Z arrival");
}

TEST_CASE("a name is the base name and the name, of the RFC's characters") {
  const PayloadFormat format = senml_named("urn:dev:x:s1/t.a_b-0");
  CHECK(decoded(format, R"([{"bn":"urn:dev:x:","n":"s1/t.a_b-0","u":"Cel","v":1}])") ==
        "temperature 1 °C 2026-03-02T18:30:00Z arrival");
  CHECK(decoded(senml(), R"([{"bn":"9","n":"_","u":"Cel","v":1}])") ==
        "temperature 1 °C 2026-03-02T18:30:00Z arrival");
  const char* rule = "a name begins with a letter or digit and holds only those and - : . / _";
  for (const char* name : {"_t", "-t", ".t", ":t", "/t", "t t", "t%", "t\xC3\xA4", "t#", "~"}) {
    CAPTURE(name);
    const std::string pack = R"([{"n":")" + std::string(name) + R"(","u":"Cel","v":1}])";
    CHECK(decoded(senml(), pack) ==
          "malformed: record 1 is named \"" + std::string(name) + "\": " + rule);
  }
  CHECK(decoded(senml(), R"([{"u":"Cel","v":1}])") ==
        "malformed: record 1 has no name: expected n, or bn before it");
}

TEST_CASE("named measures read their record and no other") {
  PayloadFormat format = senml_named("air");
  format.measures.push_back(senml_named("air-rh", Quantity::humidity).measures[0]);
  CHECK(decoded(format, R"([{"n":"air","u":"Cel","v":21},{"n":"chip","u":"Cel","v":44},
                            {"n":"air-rh","u":"%RH","v":60},{"n":"chip-rh","u":"%RH","v":30}])") ==
        "temperature 21 °C 2026-03-02T18:30:00Z arrival; humidity 60 % 2026-03-02T18:30:00Z "
        "arrival");
}

TEST_CASE("a measure without a name is found by unit beside a named one") {
  PayloadFormat format = senml_named("air");
  Measure humidity;
  humidity.quantity = Quantity::humidity;
  humidity.unit = Unit::percent;
  format.measures.push_back(humidity);
  CHECK(decoded(format, R"([{"n":"rh","u":"%RH","v":60},{"n":"chip","u":"Cel","v":44}])") ==
        "humidity 60 % 2026-03-02T18:30:00Z arrival");
}

TEST_CASE("two probes of one quantity without names are not woven into one history") {
  CHECK(decoded(senml(), R"([{"n":"air","u":"Cel","v":21},{"n":"chip","u":"Cel","v":44}])") ==
        "malformed: records named \"air\" and \"chip\" both hold temperature: name the one to read "
        "under measures in the configuration");
  CHECK(decoded(senml(), R"([{"n":"air","u":"Cel","v":21},{"n":"air","u":"K","v":294,"t":-1}])") ==
        "temperature 21 °C 2026-03-02T18:30:00Z arrival; temperature 294 K "
        "2026-03-02T18:29:59Z arrival");
}

TEST_CASE("a named record in a unit its quantity is not read in is refused") {
  CHECK(decoded(senml_named("air"), R"([{"n":"air","u":"%RH","v":60}])") ==
        "wrong_unit: record 1, \"air\", has the unit \"%RH\": its temperature is read in Cel or K");
  CHECK(
      decoded(senml_named("air"), R"([{"n":"air","u":"degF","v":60}])") ==
      "wrong_unit: record 1, \"air\", has the unit \"degF\": its temperature is read in Cel or K");
  CHECK(decoded(senml_named("rh", Quantity::humidity), R"([{"n":"rh","v":60}])") ==
        "wrong_unit: record 1, \"rh\", has no unit: its humidity is read in %RH");
  CHECK(decoded(senml_named("air"), R"([{"n":"other","u":"degF","v":1},
                                        {"n":"air","u":"K","v":290}])") ==
        "temperature 290 K 2026-03-02T18:30:00Z arrival");
}

TEST_CASE("texts, truths, data and sums are passed over unless a measure names them") {
  const char* pack = R"([{"n":"door","vb":true},{"n":"label","vs":"B-07"},{"n":"blob","vd":"aGk"},
                         {"n":"energy","u":"Cel","s":1000},{"n":"air","u":"Cel","v":21,"s":3}])";
  CHECK(decoded(senml(), pack) == "temperature 21 °C 2026-03-02T18:30:00Z arrival");
  CHECK(decoded(senml_named("air"), pack) == "temperature 21 °C 2026-03-02T18:30:00Z arrival");
  CHECK(decoded(senml_named("label"), pack) ==
        "wrong_type: record 2, \"label\", holds no number in v: expected its temperature");
  CHECK(decoded(senml_named("energy"), pack) ==
        "wrong_type: record 4, \"energy\", holds no number in v: expected its temperature");
  CHECK(decoded(senml(), R"([{"n":"x","v":1,"vs":"1"}])") ==
        "malformed: record 1 has 2 values: expected one of v, vs, vb and vd");
}

TEST_CASE("a pack without anything to read says what it expected") {
  CHECK(decoded(senml(), "[]") ==
        "missing_field: nothing to read in 0 records: expected a record with the unit Cel, K or "
        "%RH");
  CHECK(decoded(senml(), R"([{"n":"p","u":"Pa","v":101325}])") ==
        "missing_field: nothing to read in 1 record: expected a record with the unit Cel, K or "
        "%RH");
  PayloadFormat format = senml_named("a");
  format.measures.push_back(senml_named("b", Quantity::humidity).measures[0]);
  CHECK(decoded(format, R"([{"n":"x","u":"Cel","v":1},{"n":"y","u":"Cel","v":1}])") ==
        "missing_field: nothing to read in 2 records: expected a record named \"a\" or \"b\"");
}

TEST_CASE("a pack of a later version is not used") {
  CHECK(decoded(senml(), R"([{"bver":10,"n":"t","u":"Cel","v":1}])") ==
        "temperature 1 °C 2026-03-02T18:30:00Z arrival");
  CHECK(decoded(senml(), R"([{"bver":5,"n":"t","u":"Cel","v":1}])") ==
        "temperature 1 °C 2026-03-02T18:30:00Z arrival");
  CHECK(decoded(senml(), R"([{"bver":11,"n":"t","u":"Cel","v":1}])") ==
        "unknown_extension: bver of record 1 is 11: SenML is read up to version 10");
  CHECK(decoded(senml(), R"([{"bver":10.5,"n":"t","u":"Cel","v":1}])") ==
        "wrong_type: bver of record 1 is 10.5: expected a whole number from 1");
  CHECK(decoded(senml(), R"([{"bver":0,"n":"t","u":"Cel","v":1}])") ==
        "wrong_type: bver of record 1 is 0: expected a whole number from 1");
}

TEST_CASE("an extension that must be understood refuses the pack, any other is ignored") {
  CHECK(decoded(senml(), R"([{"n":"t","u":"Cel","v":1},{"n":"p","v":2,"mood_":"x"}])") ==
        "unknown_extension: record 2 has the label \"mood_\", an extension that must be understood "
        "and is not");
  CHECK(decoded(senml(), R"([{"n":"t","u":"Cel","v":1,"mood":"x","":0,"V":7}])") ==
        "temperature 1 °C 2026-03-02T18:30:00Z arrival");
}

TEST_CASE("labels of the wrong type are refused") {
  struct Row {
    const char* pack;
    const char* result;
  };
  for (const Row& row :
       {Row{R"([{"n":"t","u":"Cel","v":"21.5"}])",
            "wrong_type: v of record 1 holds the text \"21.5\": a number is sent without quotation "
            "marks"},
        Row{R"([{"n":"t","u":"Cel","v":null}])",
            "wrong_type: v of record 1 holds null: the sensor has no reading; let it send nothing "
            "instead"},
        Row{R"([{"n":7,"u":"Cel","v":1}])",
            "wrong_type: n of record 1 holds a number: expected text"},
        Row{R"([{"n":"t","u":["Cel"],"v":1}])",
            "wrong_type: u of record 1 holds an array: expected text"},
        Row{R"([{"n":"t","vb":1}])",
            "wrong_type: vb of record 1 holds a number: expected true or false"},
        Row{R"([{"bn":{},"n":"t","v":1}])",
            "wrong_type: bn of record 1 holds an object: expected text"},
        Row{R"([{"bt":"1772476200","n":"t","v":1}])",
            "wrong_type: bt of record 1 holds the text \"1772476200\": a number is sent without "
            "quotation marks"}}) {
    CHECK(decoded(senml(), row.pack) == row.result);
  }
}

TEST_CASE("a pack is an array of objects") {
  CHECK(decoded(senml(), R"({"n":"t","u":"Cel","v":1})") ==
        "malformed: the message is an object: a SenML pack is an array of records, in square "
        "brackets");
  CHECK(
      decoded(senml(), R"([{"n":"t","u":"Cel","v":1}, 5])") ==
      "malformed: record 2 is a number: expected an object such as {\"n\": \"t\", \"u\": \"Cel\", "
      "\"v\": 21.5}");
  CHECK(decoded(senml(), "21.5").starts_with("malformed: the message is a number"));
}

TEST_CASE("sums that leave a double's range are refused") {
  CHECK(decoded(senml(), R"([{"bv":1.7e308,"n":"t","u":"Cel","v":1.7e308}])") ==
        "not_finite: record 1: bv and v add up to more than any sensor reads");
  CHECK(decoded(senml(), R"([{"bt":1.7e308,"n":"t","u":"Cel","v":1,"t":1.7e308}])")
            .starts_with("future: "));
  CHECK(decoded(senml(), R"([{"bt":-1.7e308,"n":"t","u":"Cel","v":1,"t":-1.7e308}])")
            .starts_with("before_2000: "));
}

TEST_CASE("a day of minutes in one pack fits") {
  std::string pack = R"([{"bn":"urn:dev:mac:0024befffe804ff1:","bt":1772389800,"bu":"Cel"})";
  for (int minute = 0; minute < 1440; ++minute) {
    pack += R"(,{"n":"t","v":21.25,"t":)" + std::to_string(minute * 60) + "}";
    pack += R"(,{"n":"h","u":"%RH","v":61.25,"t":)" + std::to_string(minute * 60) + "}";
  }
  pack += "]";
  const auto readings = decode(senml(), "s1", pack, kArrival);
  REQUIRE(readings.has_value());
  CHECK(readings->size() == 2880);
  CHECK(pack.size() < kLargestPayload);
}

}  // namespace
}  // namespace torpor::test
