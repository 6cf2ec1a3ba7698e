#include "daemon/report/heard_topics.h"

#include <doctest/doctest.h>
#include <fmt/format.h>

#include <fstream>
#include <sstream>

namespace torpor::daemon {
namespace {

constexpr Instant kHeard = instant_of(1'772'476'200'000);  // 2026-03-02T18:30:00Z

config::Settings cellar_settings() {
  auto result = config::read_settings(R"(storeroom: cellar
places: {outside: {}, cellar: {holds: {shelf-1: {}}}}
sensors:
  - {id: s1, place: cellar/shelf-1, topic: "room/{sensor}/air", payload: number,
     measures: {temperature: {unit: °C}}}
)",
                                      "torpor.yaml");
  REQUIRE(result.faults.empty());
  return std::move(result.settings);
}

std::string heard_text(std::string_view topic, std::string_view payload) {
  const config::Settings settings = cellar_settings();
  HeardTopics heard(settings);
  heard.add(topic, payload, false, kHeard);
  return heard.text(80);
}

// The lines of the entry out of the text.
std::string entry_in(const std::string& text) {
  const std::size_t begin = text.find("  - {id:");
  REQUIRE(begin != std::string::npos);
  const std::size_t end = text.find("}\n", begin);
  REQUIRE(end != std::string::npos);
  return text.substr(begin, end + 2 - begin);
}

}  // namespace

TEST_CASE("the entry is a configuration that reads the message it was made from") {
  const std::pair<const char*, const char*> messages[] = {
      {"far/s9", R"({"t":21.5,"rh":61,"ts":1772476190})"},
      {"far/s9/temperature", "68"},
      {"a shed/s 9", R"({"air temp":{"v":21.5},"air hum":60,"x":"2026-03-02T18:29:00Z"})"},
      {"far/s9", R"([{"bn":"a:","n":"t","u":"Cel","v":2},{"n":"t2","u":"Cel","v":3}])"},
      {"far/s9", R"([{"bn":"a:","n":"t","u":"Cel","v":2},{"n":"h","u":"%RH","v":3}])"},
  };
  for (const auto& [topic, payload] : messages) {
    CAPTURE(topic);
    const std::string entry = entry_in(heard_text(topic, payload));
    CAPTURE(entry);
    const auto read = config::read_settings(
        "storeroom: x\nplaces: {cellar: {}}\nsensors:\n" + entry, "torpor.yaml");
    for (const auto& fault : read.faults) FAIL_CHECK(config::to_text(fault));
    REQUIRE(read.settings.sensors.size() == 1);
    const auto guess = guess_format(topic, payload, kHeard);
    REQUIRE(guess);
    auto readings = decode(read.settings.sensors[0].payload, "", payload, kHeard);
    REQUIRE(readings);
    CHECK(*readings == guess->readings);
  }
}

TEST_CASE("each example of a sensor reads the message that it shows") {
  for (const char* form : {"number", "json", "senml"}) {
    CAPTURE(form);
    std::ifstream file(fmt::format("{}/sensor-{}.yaml", TORPOR_EXAMPLES, form));
    std::stringstream text;
    text << file.rdbuf();
    const auto read = config::read_settings(text.str(), "example.yaml");
    REQUIRE(read.faults.empty());
    // "#   topic  payload"
    std::string line;
    while (std::getline(text, line) && !line.starts_with("#   ")) {
    }
    const std::size_t gap = line.find("  ", 4);
    REQUIRE(gap != std::string::npos);
    HeardTopics heard(read.settings);
    heard.add(line.substr(4, gap - 4), line.substr(gap + 2), false, kHeard);
    CHECK(heard.text(80).find(" reads it: temperature ") != std::string::npos);
  }
}

TEST_CASE("a topic's text says who reads it, what would, or why nothing can") {
  CHECK(heard_text("room/s1/air", "21.5") ==
        "room/s1/air: 1 message\n"
        "  Sensor s1 reads it: temperature 21.5 °C.\n");
  const std::string other = heard_text("room/s1/air", R"({"t":21.5})");
  CHECK(other.find("Sensor s1 cannot read it: ") != std::string::npos);
  CHECK(entry_in(other) ==
        "  - {id: s1, place: cellar, topic: room/s1/air,\n"
        "     payload: json,\n"
        "     measures: {temperature: {pointer: /t, unit: °C}}}\n");
  CHECK(heard_text("far/s9", "hello").find("  Not read: ") != std::string::npos);
  CHECK(heard_text("torpor/cellar/notice", "Today: warm")
            .find("No sensor can be configured on it: ") != std::string::npos);
}

TEST_CASE("the interval is offered once it was heard often enough") {
  const config::Settings settings = cellar_settings();
  HeardTopics heard(settings);
  const auto say = [&](int second) {
    heard.add("far/s9", "21.5", second == 0, kHeard + std::chrono::seconds(second));
  };
  for (const int second : {0, 7, 17, 27}) say(second);  // the first is retained
  CHECK(heard.text(80).find("expected_interval") == heard.text(80).rfind("expected_interval"));
  CHECK(heard.text(80).find("far/s9: 4 messages, 1 of them retained") == 0);
  say(37);
  CHECK(heard.text(80).find("payload: number, expected_interval: 10 s,") != std::string::npos);
}

TEST_CASE("an id comes from the topic and is nobody's yet") {
  CHECK(id_for("far/s9", {}) == "s9");
  CHECK(id_for("far/s9/temperature", {}) == "s9");
  CHECK(id_for("far/s9/senml", {"S9"}) == "s9-2");
  CHECK(id_for("far/s9/senml", {"s9", "s9-2"}) == "s9-3");
  CHECK(id_for("temperature", {}) == "temperature");
  CHECK(id_for("a b/c d", {}) == "s");
}

TEST_CASE("a storm of topics is cut, and said to be") {
  const config::Settings settings = cellar_settings();
  HeardTopics heard(settings);
  for (int i = 0; i < 300; ++i) heard.add(fmt::format("far/x{}", i), "21", false, kHeard);
  const std::string text = heard.text(80);
  CHECK(text.find("100 messages on further topics were passed over") != std::string::npos);
  CHECK(text.find("far/x299") == std::string::npos);
}

TEST_CASE("what is heard does nothing to the terminal") {
  CHECK(heard_text("far/\x1b[2J", "\x1b[2J{").find('\x1b') == std::string::npos);
  CHECK(heard_text("far/s9", R"({"t":21,"time":"\u001b[2J"})").find('\x1b') == std::string::npos);
  const std::string entry = heard_text("far/s9", R"({"temp \u001b":21})");
  CHECK(entry.find('\x1b') == std::string::npos);
  CHECK(entry.find(R"(pointer: "/temp \U0000001b")") != std::string::npos);
}

}  // namespace torpor::daemon
