// More than one room: two services on one broker, a room behind a bridge, and a board that watches
// another.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <fstream>
#include <iterator>
#include <sstream>

#include "tests/system/room.h"

using namespace torpor;
using namespace torpor::testing;

namespace {

std::string text_of(const std::string& file) {
  std::ifstream stream(file);
  return {std::istreambuf_iterator<char>(stream), {}};
}

std::string replaced(std::string text, const std::string& what, const std::string& with) {
  const auto at = text.find(what);
  REQUIRE_MESSAGE(at != std::string::npos, what);
  return text.replace(at, what.size(), with);
}

// Its configuration, but of the storeroom `name`.
void call_it(const Room& room, const std::string& name) {
  room.write("torpor.yaml",
             replaced(text_of(room.config_file()), "storeroom: cellar", "storeroom: " + name));
}

// Lines of a shipped configuration that are no comments.
std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream stream(text);
  for (std::string line; std::getline(stream, line);) {
    if (!line.empty() && line.front() != '#') lines.push_back(line);
  }
  return lines;
}

bool heard(const RawSubscriber& phone, const std::string& topic, const std::string& text) {
  for (const RawMessage& message : phone.messages()) {
    if (message.topic == topic && message.payload.find(text) != std::string::npos) return true;
  }
  return false;
}

constexpr const char* kJar = "new jar A-1 in cellar/shelf-1 closed 2025-07-14";

}  // namespace

TEST_CASE("two storerooms on one broker have their own jars, and one's end is not the other's") {
  Room cellar;
  Room loft({.broker_runs = false});
  call_it(loft, "loft");
  loft.write("torpor.yaml",
             replaced(text_of(loft.config_file()), loft.broker().uri(), cellar.broker().uri()));
  cellar.start();
  loft.start();
  RawSubscriber phone(cellar.broker(), "torpor/#");
  CHECK(loft.torpor({"tell", kJar}).code == 0);
  CHECK(loft.torpor_json({"jars"})["jars"].size() == 1);
  CHECK(cellar.torpor_json({"jars"})["jars"].empty());
  cellar.say_json(kFirst, 20, 60);  // both listen to it
  CHECK(wait_until([&] { return cellar.readings().size() == 2 && loft.readings().size() == 2; }));
  loft.stop();
  CHECK(wait_until([&] { return heard(phone, "torpor/loft/service", "\"gone\""); }));
  CHECK_FALSE(heard(phone, "torpor/cellar/service", "\"gone\""));
  CHECK(cellar.torpor({"tell", "ask alerts"}).code == 0);
}

TEST_CASE(
    "by the shipped bridge a phone at the house reaches a room, and an outage loses nothing") {
  Broker house;
  RoomOptions options;
  options.rules = kWarmRule;
  std::string bridge = text_of(std::string(TORPOR_SOURCE_DIR) + "/deploy/mosquitto-bridge.conf");
  bridge = replaced(bridge, "\naddress house.lan:8883",
                    fmt::format("\naddress 127.0.0.1:{}", house.port()));
  bridge = replaced(bridge, "\nbridge_cafile", "\n# bridge_cafile");
  bridge = replaced(bridge, "\nremote_username", "\n# remote_username");
  bridge = replaced(bridge, "\nremote_password", "\n# remote_password");
  options.broker.extra = lines_of(bridge);
  options.broker.extra.emplace_back("restart_timeout 1");
  options.broker.persistence = true;
  Room loft(options);
  call_it(loft, "loft");
  loft.start();
  {
    RawSubscriber phone(house, "torpor/loft/#");
    REQUIRE(wait_until([&] { return heard(phone, "torpor/loft/service", "\"running\""); }));
    raw_publish(house, {"torpor/loft/tell", kJar});
    CHECK(wait_until([&] { return heard(phone, "torpor/loft/answer", "A-1"); }));
  }
  CHECK(loft.torpor_json({"jars"})["jars"].size() == 1);
  house.stop();
  for (int minute = 0; minute <= 12; ++minute) {
    loft.say_json(kFirst + std::chrono::minutes(minute), 30, 60);
  }
  REQUIRE(wait_until([&] { return loft.torpor_json({"alerts"})["alerts"].size() == 1; }));
  house.start();
  RawSubscriber phone(house, "torpor/loft/#");
  CHECK(wait_until([&] { return heard(phone, "torpor/loft/notice", "cellar/shelf-1"); }));
}

TEST_CASE("a second board says that the first one is down") {
  Room first;
  RoomOptions options;
  options.broker.extra = {"connection first",
                          fmt::format("address 127.0.0.1:{}", first.broker().port()),
                          "topic room/# in 1", "restart_timeout 1"};
  Room second(options);
  const std::string examples = std::string(TORPOR_SOURCE_DIR) + "/examples/";
  std::string settings = text_of(examples + "watcher.yaml");
  settings = replaced(settings, "mqtt://127.0.0.1:1883", second.broker().uri());
  second.write("torpor.yaml", replaced(settings, "watcher.sqlite3", "history.sqlite3"));
  // As shipped, but in seconds.
  std::string rules = text_of(examples + "watcher-rules.yaml");
  rules = replaced(rules, "above 20 min", "above 3 s");
  rules = replaced(rules, "below 1 min lasting 10 min", "below 1 s lasting 1 s");
  second.write("watcher-rules.yaml", rules);
  RawSubscriber phone(second.broker(), "torpor/watcher/notice");
  second.start();
  const auto say = [&] {
    raw_publish(first.broker(), {"room/s1", R"({"t":20,"rh":60})"});
    return !second.readings().empty();
  };
  REQUIRE(wait_until(say));
  first.broker().kill();
  CHECK(wait_until([&] { return heard(phone, "torpor/watcher/notice", "no reading since"); }));
  CHECK(heard(phone, "torpor/watcher/notice", "s1"));
}
