#include "sensors/format_guess.h"

#include <doctest/doctest.h>
#include <fmt/format.h>

namespace torpor {
namespace {

constexpr Instant kNow = instant_of(1'772'476'200'000);  // 2026-03-02T18:30:00Z

std::string guess_shown(std::string_view topic, std::string_view payload) {
  const auto guess = guess_format(topic, payload, kNow);
  if (!guess) return "refused: " + guess.error();
  constexpr const char* kForms[] = {"number", "json", "senml"};
  constexpr const char* kTimes[] = {"seconds", "milliseconds", "rfc3339"};
  std::string text = kForms[static_cast<int>(guess->format.form)];
  for (const Measure& measure : guess->format.measures) {
    text += fmt::format(" {}:{}{} {}", facts(measure.quantity).name, measure.pointer, measure.name,
                        symbol(measure.unit));
    if (measure.volts) text += fmt::format(" {:g}-{:g}", measure.volts->empty, measure.volts->full);
  }
  if (guess->format.time) {
    text += fmt::format(" time:{} {}", guess->format.time->pointer,
                        kTimes[static_cast<int>(guess->format.time->format)]);
  }
  return text;
}

bool noted(std::string_view topic, std::string_view payload, std::string_view part) {
  const auto guess = guess_format(topic, payload, kNow);
  if (!guess) return false;
  for (const std::string& note : guess->notes) {
    if (note.find(part) != std::string::npos) return true;
  }
  return false;
}

}  // namespace

TEST_CASE("form, fields, units and time are guessed from one message") {
  struct Row {
    const char* topic;
    const char* payload;
    const char* guess;
  };
  const Row rows[] = {
      {"c/s1", "21.5", "number temperature: °C"},
      {"c/s1/humidity", " 61 ", "number humidity: %"},
      {"c/s1/rh", "61", "number humidity: %"},
      {"c/s1/temperature", "68", "number temperature: °F"},
      {"c/s1/temp_c", "68", "number temperature: °C"},
      {"c/s1/tempK", "294.6", "number temperature: K"},
      {"c/s1", R"({"t":21.5,"rh":61,"ts":1772476190})",
       "json temperature:/t °C humidity:/rh % time:/ts seconds"},
      {"c/s1", R"({"t":1772476190,"temp":21.5,"h":61})",
       "json temperature:/temp °C humidity:/h % time:/t seconds"},
      {"c/s1", R"({"air":{"temperature":70.2,"humidity":61},"when":"2026-03-02T19:29:00+01:00"})",
       "json temperature:/air/temperature °F humidity:/air/humidity % time:/when rfc3339"},
      {"c/s1", R"({"ms":1772476190123,"Temperature":21,"Humidity":61})",
       "json temperature:/Temperature °C humidity:/Humidity % time:/ms milliseconds"},
      {"c/s1", R"({"temperature":{"value":71,"unit":"°F"},"relativeHumidity":{"value":44}})",
       "json temperature:/temperature/value °F humidity:/relativeHumidity/value %"},
      {"c/s1", R"({"outTemp_F":30,"dewpoint_temp":9,"setTemp":18,"humidity":44})",
       "json temperature:/outTemp_F °F humidity:/humidity %"},
      {"c/s1", R"({"a/b~c":{"temp":20}})", "json temperature:/a~1b~0c/temp °C"},
      {"c/s1", R"([{"temp":20},{"temp":21}])", "json temperature:/0/temp °C"},
      {"c/s1/humidity", R"({"value":61,"battery":88})",
       "json humidity:/value % battery:/battery %"},
      {"c/s1", R"({"temp":21,"battery":88,"voltage":2950})",
       "json temperature:/temp °C battery:/battery %"},
      {"c/s1", R"({"temp":21,"batt_v":2.95})", "json temperature:/temp °C battery:/batt_v % 2.2-3"},
      {"c/s1", R"({"temp":21,"voltage":2950})",
       "json temperature:/temp °C battery:/voltage % 2200-3000"},
      {"c/s1", R"({"temp":21,"battery":255,"bat_low":false})", "json temperature:/temp °C"},
      {"c/s1", R"({"Luftfeuchte":61,"Temperatur":12})",
       "json temperature:/Temperatur °C humidity:/Luftfeuchte %"},
      {"c/s1", R"({"temp":21,"uptime":4711,"seq":1772476190000})",
       "json temperature:/temp °C time:/seq milliseconds"},
      {"c/s1", R"([{"bn":"s2:","bt":1772476190,"n":"t","u":"Cel","v":21.5}])", "senml"},
      {"c/s1",
       R"([{"bn":"a:","n":"t","u":"Cel","v":2},{"n":"t2","u":"Cel","v":3},{"n":"h","u":"%RH","v":60}])",
       "senml temperature:a:t °C humidity:a:h %"},
  };
  for (const Row& row : rows) {
    CAPTURE(row.payload);
    CHECK(guess_shown(row.topic, row.payload) == row.guess);
  }
}

TEST_CASE("what the guess reads is what decode reads") {
  const auto guess = guess_format("c/s1", R"({"t":68.5,"rh":61,"ts":1772476190})", kNow);
  REQUIRE(guess);
  REQUIRE(guess->readings.size() == 2);
  CHECK(guess->readings[0].raw == 68.5);
  CHECK(guess->readings[0].unit == Unit::fahrenheit);
  CHECK(guess->readings[0].measured_at == instant_of(1'772'476'190'000));
}

TEST_CASE("a message that no format reads says why") {
  struct Row {
    const char* payload;
    const char* part;
  };
  const Row rows[] = {
      {"", "the message is empty"},
      {"21,5", "write a decimal point, not a comma"},
      {"21.5 C", "nothing may follow the number"},
      {"{\"t\":", "stops too early"},
      {"\xff\xfe", "is not UTF-8"},
      {R"({"battery":88})", "no field is named like a temperature or a humidity"},
      {R"({"rssi":-71,"lqi":200})", "no field is named like a temperature or a humidity"},
      {R"({"temperature":"21.5"})", "a number is sent without quotation marks"},
      {R"({"humidity":0.61})", "let it send 61"},
      {R"({"humidity":161})", "161 is no humidity in %"},
      {R"([{"n":"t","u":"lx","v":1}])", "nothing to read in 1 record"},
      {"true", "expected one plain number"},
  };
  for (const Row& row : rows) {
    CAPTURE(row.payload);
    const std::string shown = guess_shown("c/s1", row.payload);
    CAPTURE(shown);
    CHECK(shown.starts_with("refused: "));
    CHECK(shown.find(row.part) != std::string::npos);
  }
}

TEST_CASE("what is guessed by size or passed over is said") {
  CHECK(noted("c/s1", R"({"t":38})", "38 is taken for °C by its size"));
  CHECK_FALSE(noted("c/s1", R"({"t_c":38})", "by its size"));
  CHECK(noted("c/s1", "21.5", "the topic does not say of what"));
  CHECK(noted("c/s1/humidity", "61", "needs temperature and humidity of one sensor"));
  CHECK(noted("c/s1", R"({"t":21})", "each reading is stamped when it arrives"));
  CHECK(noted("c/s1", R"({"t":21,"ts":1772483400})", "120 min ahead of this computer's clock"));
  CHECK(noted("c/s1", R"({"t":21,"ts":1772472600})", "60 min behind this computer's clock"));
  CHECK_FALSE(noted("c/s1", R"({"t":21,"ts":1772476000})", "clock"));
  CHECK(noted("c/s1", R"({"t":21,"time":"2026-03-02 18:29"})", "without its offset from UTC"));
  CHECK(noted("c/s1", R"({"temp1":21,"temp2":22})", "/temp2 could also be temperature"));
  CHECK(noted("c/s1", R"([{"n":"a","u":"Cel","v":2},{"n":"b","u":"Cel","v":3}])",
              "several of a kind"));
}

TEST_CASE("a bare number on a battery's topic is no temperature") {
  CHECK(guess_shown("c/s1/battery", "88").starts_with("refused: it tells of a battery alone"));
  CHECK(guess_shown("battery/s1", "21.5") == "number temperature: °C");
}

TEST_CASE("a clock ahead is not taken for the readings' time") {
  const auto guess = guess_format("c/s1", R"({"t":21,"ts":1772483400})", kNow);
  REQUIRE(guess);
  CHECK_FALSE(guess->format.time.has_value());
}

}  // namespace torpor
