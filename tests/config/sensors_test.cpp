#include <doctest/doctest.h>

#include "tests/config/faults_of.h"

namespace torpor::config {
namespace {

using namespace std::chrono_literals;

std::string with_sensors(const std::string& sensors) {
  return "storeroom: c\nplaces: {a: {holds: {b: {}}}}\nsensors:\n" + sensors;
}

SensorSettings sensor(const std::string& keys) {
  const SettingsResult result = read_settings(with_sensors("  - {" + keys + "}\n"), "f");
  CAPTURE(keys);
  CHECK(brief(result.faults) == "");
  REQUIRE(result.settings.sensors.size() == 1);
  return result.settings.sensors[0];
}

// Faults of one sensor that stands on line 4; its keys begin in column 6.
std::string sensor_faults(const std::string& keys) {
  return faults_of(with_sensors("  - {" + keys + "}\n"));
}

TEST_CASE("a sensor hangs on a place and senses air, or on a jar and senses the culture") {
  const SensorSettings air = sensor("id: s1, place: a/b, topic: t, payload: senml");
  CHECK(air.spec.place == "a/b");
  CHECK(air.spec.jar == "");
  CHECK(air.spec.senses == rules::Senses::air);
  CHECK(air.at == Mark{4, 5});
  const SensorSettings probe = sensor("id: s1, jar: B-07, topic: t, payload: senml");
  CHECK(probe.spec.place == "");
  CHECK(probe.spec.jar == "B-07");
  CHECK(probe.spec.senses == rules::Senses::culture);
  CHECK(sensor("id: s, jar: B, senses: headspace, topic: t, payload: senml").spec.senses ==
        rules::Senses::headspace);
  CHECK(sensor("id: s, jar: B, senses: glass, topic: t, payload: senml").spec.senses ==
        rules::Senses::glass);
  CHECK(sensor("id: s, place: a, senses: glass, topic: t, payload: senml").spec.senses ==
        rules::Senses::glass);
}

TEST_CASE("payload number has one quantity, in the short form or the long") {
  for (const std::string measures : {"{temperature: °F}", "{temperature: {unit: degF}}"}) {
    const SensorSettings read =
        sensor("id: s, place: a, topic: t, payload: number, measures: " + measures);
    CHECK(read.payload.form == PayloadForm::number);
    REQUIRE(read.payload.measures.size() == 1);
    CHECK(read.payload.measures[0].quantity == Quantity::temperature);
    CHECK(read.payload.measures[0].unit == Unit::fahrenheit);
    CHECK(read.spec.measures == std::vector{Quantity::temperature});
  }
  const SensorSettings humid =
      sensor("id: s, place: a, topic: t, payload: number, measures: {humidity: }");
  CHECK(humid.payload.measures[0].unit == Unit::percent);  // the only unit of humidity
}

TEST_CASE("payload json has pointers, units and perhaps a time") {
  const SensorSettings read = sensor(
      "id: s, place: a, topic: t, payload: json, measures: {humidity: {pointer: /a~1b/0}, "
      "temperature: {pointer: \"\", unit: K}}, time: {pointer: /ts, format: milliseconds}");
  CHECK(read.payload.form == PayloadForm::json);
  REQUIRE(read.payload.measures.size() == 2);
  CHECK(read.payload.measures[0].quantity == Quantity::humidity);
  CHECK(read.payload.measures[0].pointer == "/a~1b/0");
  CHECK(read.payload.measures[0].unit == Unit::percent);
  CHECK(read.payload.measures[1].pointer == "");
  CHECK(read.payload.measures[1].unit == Unit::kelvin);
  REQUIRE(read.payload.time.has_value());
  CHECK(read.payload.time->pointer == "/ts");
  CHECK(read.payload.time->format == TimeFormat::milliseconds);
  CHECK(read.spec.measures == std::vector{Quantity::humidity, Quantity::temperature});
}

TEST_CASE("a battery is read in percent or in volts, and is nothing that the sensor measures") {
  const std::string base =
      "id: s, place: a, topic: t, payload: json, measures: {temperature: {pointer: /t, unit: °C}, "
      "battery: {pointer: /b";
  const SensorSettings percent = sensor(base + "}}");
  REQUIRE(percent.payload.measures.size() == 2);
  CHECK(percent.payload.measures[1].quantity == Quantity::battery);
  CHECK_FALSE(percent.payload.measures[1].volts.has_value());
  CHECK(percent.spec.measures == std::vector{Quantity::temperature});
  const SensorSettings volts = sensor(base + ", unit: V, empty: 2200 mV, full: 3 V}}");
  CHECK(volts.payload.measures[1].volts == VoltageSpan{2.2, 3.0});
  CHECK(volts.payload.measures[1].unit == Unit::percent);
  const SensorSettings milli = sensor(base + ", unit: mV, empty: 2 V, full: 3 V}}");
  CHECK(milli.payload.measures[1].volts == VoltageSpan{2000.0, 3000.0});

  const auto fault = [&](const std::string& rest) {
    const std::string text = sensor_faults(base + rest);
    return text.substr(text.find("battery") + 9);
  };
  CHECK(fault(", unit: V}}") ==
        "a battery in volts needs what it has when it is empty and when it is full: add e.g. "
        "`empty: 2.2 V, full: 3.0 V` (two AA cells, or a lithium coin)\n");
  CHECK(fault(", unit: V, empty: 3 V, full: 3 V}}").find("`full` is not above `empty`") !=
        std::string::npos);
  CHECK(fault(", unit: V, empty: 2, full: 3 V}}").find("has no unit") != std::string::npos);
  CHECK(fault(", empty: 2 V}}").find("only for a battery whose `unit` is V or mV") !=
        std::string::npos);
  CHECK(fault(", unit: °C}}").find("not a unit of battery: %, V or mV") != std::string::npos);
  CHECK(sensor_faults("id: s, place: a, topic: t, payload: number, measures: {battery: }")
            .find("found a battery and nothing that it measures") != std::string::npos);
  CHECK(sensor_faults("id: s, place: a, topic: t, payload: senml, measures: {battery: {name: b}}")
            .find("found a battery and nothing that it measures") != std::string::npos);
}

TEST_CASE("payload senml may leave its measures away or name its records") {
  const SensorSettings all = sensor("id: s, place: a, topic: t, payload: senml");
  CHECK(all.payload.measures.empty());
  CHECK(all.spec.measures == std::vector{Quantity::temperature, Quantity::humidity});
  const SensorSettings named =
      sensor("id: s, place: a, topic: t, payload: senml, measures: {temperature: {name: dev1/t}}");
  REQUIRE(named.payload.measures.size() == 1);
  CHECK(named.payload.measures[0].name == "dev1/t");
  CHECK(named.spec.measures == std::vector{Quantity::temperature});
}

TEST_CASE("a value holds for three expected intervals unless it is said") {
  const std::string base = "id: s, place: a, topic: t, payload: senml";
  CHECK(sensor(base).spec.expected_interval == kDefaultExpectedInterval);
  CHECK(sensor(base).spec.hold == 3 * kDefaultExpectedInterval);
  const SensorSettings minute = sensor(base + ", expected_interval: 60 s");
  CHECK(minute.spec.expected_interval == 60s);
  CHECK(minute.spec.hold == 180s);
  CHECK(sensor(base + ", expected_interval: 60 s, hold: 1 min").spec.hold == 60s);
  CHECK(
      sensor_faults(base + ", expected_interval: 60 s, hold: 59 s") ==
      "4:80: sensors #1.hold: found `59 s`, shorter than the expected interval; the value would be "
      "unknown between readings: write at least the interval, or leave `hold` away\n");
}

TEST_CASE("faulty sensors") {
  const Faulty rows[] = {
      {"",
       "4:5: sensors #1: `id` is missing; add e.g. `id: s1`\n"
       "4:5: sensors #1: `place` or `jar` is missing; add `place: PATH` for the air of the room, "
       "or `jar: ID` for a probe in or on a jar\n"
       "4:5: sensors #1: `topic` is missing; add the MQTT topic it publishes on\n"
       "4:5: sensors #1: `payload` is missing; add `payload: number`, `json` or `senml`\n"},
      {"id: s°, place: a, topic: t, payload: senml",
       "4:10: sensors #1.id: found `s°`; expected 1 to 32 letters (a-z, A-Z), digits, - or _\n"},
      {"id: s, jar: °, topic: t, payload: senml",
       "4:18: sensors #1.jar: found `°`; expected 1 to 32 letters (a-z, A-Z), digits, - or _\n"},
      {"id: s, place: a, jar: B, topic: t, payload: senml",
       "4:28: sensors #1.jar: found both a place and a jar; a sensor hangs on one: keep `place` "
       "for "
       "the air of the room, `jar` for a probe in or on a jar\n"},
      {"id: s, place: a/c, topic: t, payload: senml",
       "4:20: sensors #1.place: `a/c` is not a place; did you mean `a/b`?\n"},
      {"id: s, place: b, topic: t, payload: senml",
       "4:20: sensors #1.place: `b` is not a place; did you mean `a/b`?\n"},
      {"id: s, place: garret, topic: t, payload: senml",
       "4:20: sensors #1.place: `garret` is not a place; known: a, a/b\n"},
      {"id: s, jar: B, senses: air, topic: t, payload: senml",
       "4:29: sensors #1.senses: found air for a sensor on a jar; a probe there feels the jar's "
       "own "
       "damp and would make it look safe: write headspace, glass or culture, or hang it on a "
       "place\n"},
      {"id: s, jar: B, senses: glas, topic: t, payload: senml",
       "4:29: sensors #1.senses: found `glas`; expected air, headspace, glass or culture; did you "
       "mean `glass`?\n"},
      {"id: s, place: a, topic: torpor/x, payload: senml",
       "4:30: sensors #1.topic: found `torpor/x`; topics below torpor/ are this service's own: let "
       "the sensor publish on another topic\n"},
      {"id: s, place: a, topic: t, payload: jsn, measures: {x: 1}, time: 5",
       "4:42: sensors #1.payload: found `jsn`; expected number, json or senml; did you mean "
       "`json`?\n"},
      {"id: s, place: a, topic: t, payload: number",
       "4:5: sensors #1: `measures` is missing; add e.g. `measures: {temperature: {unit: °C}}`\n"},
      {"id: s, place: a, topic: t, payload: json",
       "4:5: sensors #1: `measures` is missing; add e.g. `measures: {temperature: {pointer: /t, "
       "unit: "
       "°C}}`\n"},
      {"id: s, place: a, topic: t, payload: json, measures: {}",
       "4:58: sensors #1.measures: found no quantity; add e.g. `measures: {temperature: {pointer: "
       "/t, "
       "unit: °C}}`\n"},
      {"id: s, place: a, topic: t, payload: number, measures: {temperature: °C, humidity: \"%\"}",
       "4:60: sensors #1.measures: found 2 quantities; payload number is one bare number: name "
       "exactly one quantity\n"},
      {"id: s, place: a, topic: t, payload: number, measures: {}",
       "4:60: sensors #1.measures: found 0 quantities; payload number is one bare number: name "
       "exactly one quantity\n"},
      {"id: s, place: a, topic: t, payload: number, measures: {temprature: °C}",
       "4:61: sensors #1.measures: `temprature` is not a quantity; did you mean `temperature`?\n"},
      {"id: s, place: a, topic: t, payload: number, measures: {°: °C}",
       "4:61: sensors #1.measures: `°` is not a quantity; known: temperature, humidity, battery\n"},
      {"id: s, place: a, topic: t, payload: number, measures: {temperature: {}}",
       "4:74: sensors #1.measures.temperature: `unit` is missing; add `unit: °C` (°C, °F or K)\n"},
      {"id: s, place: a, topic: t, payload: number, measures: {temperature: c}",
       "4:74: sensors #1.measures.temperature: found `c`; expected a unit of temperature: °C, °F "
       "or "
       "K\n"},
      {"id: s, place: a, topic: t, payload: number, measures: {humidity: °C}",
       "4:71: sensors #1.measures.humidity: found `°C`, which is not a unit of humidity: %\n"},
      {"id: s, place: a, topic: t, payload: number, measures: {temperature: {unit: °C, pointer: "
       "/t, "
       "name: n}}",
       "4:94: sensors #1.measures.temperature.pointer: a pointer is only for payload json; take it "
       "away\n"
       "4:104: sensors #1.measures.temperature.name: a record name is only for payload senml; take "
       "it "
       "away\n"},
      {"id: s, place: a, topic: t, payload: json, measures: {temperature: °C}",
       "4:72: sensors #1.measures.temperature: found only a unit; payload json needs to know where "
       "the value stands: write {pointer: /NAME, unit: \"°C\"}\n"},
      {"id: s, place: a, topic: t, payload: json, measures: {temperature: {unit: °C}}",
       "4:72: sensors #1.measures.temperature: `pointer` is missing; add where the value stands in "
       "the payload, e.g. `pointer: /t`\n"},
      {"id: s, place: a, topic: t, payload: json, measures: {temperature: {unit: °C, pointer: t}}",
       "4:92: sensors #1.measures.temperature.pointer: found `t`; expected a JSON Pointer, which "
       "begins with /: write `/t`\n"},
      {"id: s, place: a, topic: t, payload: senml, measures: {temperature: °F}",
       "4:73: sensors #1.measures.temperature: SenML has no Fahrenheit, and each record names its "
       "own "
       "unit (Cel or K); take the unit away\n"},
      {"id: s, place: a, topic: t, payload: senml, time: {pointer: /t, format: seconds}",
       "4:55: sensors #1.time: the time of a payload is only for payload json: SenML carries its "
       "own, "
       "a bare number is stamped on arrival; take it away\n"},
      {"id: s, place: a, topic: t, payload: json, measures: {humidity: {pointer: /h}}, time: "
       "{pointer: ts, format: second, zone: x}",
       "4:101: sensors #1.time.pointer: found `ts`; expected a JSON Pointer, which begins with /: "
       "write `/ts`\n"
       "4:113: sensors #1.time.format: found `second`; expected seconds, milliseconds or rfc3339; "
       "did "
       "you mean `seconds`?\n"
       "4:121: sensors #1.time: `zone` is not a key here; known: pointer, format\n"},
      {"id: s, place: a, topic: t, payload: json, measures: {humidity: {pointer: /h}}, time: {}",
       "4:91: sensors #1.time: `pointer` is missing; add e.g. `pointer: /ts`\n"
       "4:91: sensors #1.time: `format` is missing; add `format: seconds`, `milliseconds` or "
       "`rfc3339`\n"},
      {"id: s, place: a, topic: t, payload: senml, expected_interval: 60, hold: often",
       "4:68: sensors #1.expected_interval: found `60`, which has no unit; expected a duration "
       "such "
       "as `60 s`, `30 min` or `2 h`\n"
       "4:78: sensors #1.hold: found `often`; expected a duration such as `60 s`, `30 min` or `2 "
       "h`\n"},
      {"id: s, place: a, topik: t, payload: senml",
       "4:23: sensors #1: `topik` is not a key here; did you mean `topic`?\n"},
      {"id: s, place: a, topic: t, payload: senml, °C°C: 1, colour: red",
       "4:49: sensors #1: `°C°C` is not a key here; known: id, place, jar, senses, topic, payload, "
       "time, measures, expected_interval, hold\n"
       "4:58: sensors #1: `colour` is not a key here; known: id, place, jar, senses, topic, "
       "payload, "
       "time, measures, expected_interval, hold\n"},
  };
  for (const Faulty& row : rows) {
    CAPTURE(row.text);
    CHECK(sensor_faults(row.text) == row.faults);
  }
}

TEST_CASE("sensors need places to hang on, and a list") {
  CHECK(faults_of("storeroom: c\nsensors: [{id: s, place: a, topic: t, payload: senml}]\n") ==
        "2:26: sensors #1.place: `a` is not a place: there are none; add it under `places`\n");
  CHECK(faults_of("storeroom: c\nsensors: {id: s}\n") ==
        "2:10: sensors: found a mapping; expected a list of sensors, each `- {id: ..., place: ..., "
        "topic: ...}`\n");
  CHECK(faults_of("storeroom: c\nsensors: [s]\n") ==
        "2:11: sensors #1: found `s`; expected {id: ID, place: PATH, topic: TOPIC, payload: FORM, "
        "...}\n");
  CHECK(faults_of("storeroom: c\nsensors:\n") == "");
}

TEST_CASE("ids that differ only in case are one id") {
  CHECK(faults_of(with_sensors("  - {id: S-1, place: a, topic: t1, payload: senml}\n"
                               "  - {id: s-1, place: a, topic: t2, payload: senml}\n")) ==
        "5:5: sensors #2: the id `s-1` is taken by `S-1` on line 4 (case does not matter); give it "
        "another\n");
}

TEST_CASE("sensors on one topic must be told apart by what the payload says") {
  const std::string number = "payload: number, measures: {temperature: °C}";
  const std::string json = "payload: json, measures: {temperature: {unit: °C, pointer: ";
  const std::string senml = "payload: senml, measures: {temperature: {name: ";
  struct {
    std::string one, other;  // topic and payload of two sensors
    std::string clash;       // empty: they are told apart
  } const rows[] = {
      {"topic: x/1, " + number, "topic: x/2, " + number, ""},
      {"topic: \"x/{sensor}\", " + number, "topic: \"x/{sensor}\", " + number, ""},
      {"topic: \"x/{sensor}\", " + number, "topic: x/one, " + number,
       "one bare number cannot be both"},
      {"topic: \"x/{sensor}\", " + number, "topic: x/third, " + number, ""},
      {"topic: x, " + number, "topic: x, payload: number, measures: {humidity: }",
       "one bare number cannot be both"},
      {"topic: x, " + number, "topic: x, payload: senml", "their payloads differ in form"},
      {"topic: x, " + json + "/t}}", "topic: x, " + json + "/t}}",
       "both read the same temperature"},
      {"topic: x, " + json + "/t1}}", "topic: x, " + json + "/t2}}", ""},
      {"topic: x, " + json + "/t}}", "topic: x, payload: json, measures: {humidity: {pointer: /t}}",
       ""},
      {"topic: x, " + json + "/t1}, battery: {pointer: /b}}",
       "topic: x, " + json + "/t2}, battery: {pointer: /b}}", ""},
      {"topic: x, " + senml + "n1}}", "topic: x, " + senml + "n2}}", ""},
      {"topic: x, " + senml + "n1}}", "topic: x, " + senml + "n1}}",
       "both read the same temperature"},
      {"topic: x, " + senml + "n1}}", "topic: x, payload: senml, measures: {temperature: }",
       "both read the same temperature"},
      {"topic: x, " + senml + "n1}}", "topic: x, payload: senml, measures: {humidity: }", ""},
      {"topic: x, " + senml + "n1}}", "topic: x, payload: senml",
       "without names each record is both"},
  };
  for (const auto& row : rows) {
    CAPTURE(row.one);
    CAPTURE(row.other);
    const std::string faults =
        faults_of(with_sensors("  - {id: one, place: a, " + row.one + "}\n" +
                               "  - {id: other, place: a, " + row.other + "}\n"));
    if (row.clash.empty()) {
      CHECK(faults == "");
    } else {
      CHECK(faults.find("5:5: sensors #2: `other` and `one` (line 4) share the topic ") == 0);
      CHECK(faults.find(" and cannot be told apart: " + row.clash + "; give each its own topic") !=
            std::string::npos);
    }
  }
}

}  // namespace
}  // namespace torpor::config
