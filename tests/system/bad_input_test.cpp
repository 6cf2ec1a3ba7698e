// What can be wrong with what comes in: each gets its clear message and a counter, and nothing else
// is disturbed.
#include <doctest/doctest.h>
#include <fmt/core.h>
#include <sqlite3.h>

#include <csignal>

#include "daemon/history/store.h"
#include "tests/system/room.h"

using namespace torpor;
using namespace torpor::testing;

TEST_CASE("bad payloads are counted in the service topic and the good ones still arrive") {
  Room room;
  room.start();
  RawSubscriber service(room.broker(), "torpor/cellar/service");
  const auto say = [&](const std::string& topic, const std::string& payload) {
    raw_publish(room.broker(), {topic, payload});
  };
  room.say_json(kFirst, 20, 60);
  say("room/s1", "");
  say("room/s1", "not JSON");
  say("room/s1", std::string("{\"t\":\"\xff\"}"));
  say("room/s1", R"({"t":"20","rh":50,"ts":1752451200})");
  say("room/s1", R"({"t":20,"rh":50,"ts":4102444800})");
  say("room/n1", "NaN");
  say("room/n1", "1e9");
  say("room/stranger/senml", "[]");
  say("torpor/cellar/tell", std::string(2000, 'x'));
  const auto newest = [&]() -> nlohmann::json {
    const auto messages = service.messages();
    return messages.empty() ? nlohmann::json{} : nlohmann::json::parse(messages.back().payload);
  };
  REQUIRE(wait_until(
      [&] {
        const auto now = newest();
        return !now.is_null() && now["messages"]["tells_refused"] == 1;
      },
      std::chrono::seconds(30)));
  const auto counted = newest();
  CAPTURE(counted.dump());
  CHECK(counted["readings"]["fresh"] == 3);
  CHECK(counted["refused"]["empty"] == 1);
  CHECK(counted["refused"]["malformed"] == 1);
  CHECK(counted["refused"]["not_utf8"] == 1);
  CHECK(counted["refused"]["wrong_type"] == 1);
  CHECK(counted["refused"]["future"] == 1);
  CHECK(counted["refused"]["not_finite"] == 1);
  CHECK(counted["refused"]["unknown_sensor"] == 1);
  CHECK(counted["readings"]["untrusted"] == 1);
  CHECK(counted["messages"]["tells_refused"] == 1);
  CHECK(room.service_says("a message on room/s1 is refused (empty)"));
}

TEST_CASE("a configuration with five faults is not started and names all five") {
  Room room({.broker_runs = false});
  room.write("torpor.yaml", R"(storeroom: cel lar
clok: wall
places:
  cellar: {holds: {shelf-1: {}}}
sensors:
  - {id: s1, place: cellar/shelf-9, topic: room/s1, payload: json,
     measures: {temperature: {pointer: /t, unit: °R}}}
  - {id: s2, place: cellar/shelf-1, topic: room/+, payload: number, measures: {temperature: °C}}
)");
  for (const auto& arguments : std::vector<std::vector<std::string>>{
           {TORPORD_BINARY, "--config", room.config_file(), "--check"},
           {TORPORD_BINARY, "--config", room.config_file()}}) {
    ChildProcess check(arguments);
    const auto ending = check.wait();
    REQUIRE(ending);
    CHECK(ending->code == 2);
    int located = 0;
    for (const std::string& line : check.lines()) {
      if (line.find("torpor.yaml:") != std::string::npos) ++located;
    }
    CHECK(located == 5);
  }
}

TEST_CASE("--check of a good configuration says what would run") {
  Room room({.broker_runs = false});
  ChildProcess check({TORPORD_BINARY, "--config", room.config_file(), "--check"});
  const auto ending = check.wait();
  REQUIRE(ending);
  CHECK(ending->code == 0);
  CHECK(check.wait_for_lines(
      1, [](const std::string& line) { return line == "the configuration is good"; }));
}

TEST_CASE("a history of a newer version is refused, whole and unharmed") {
  Room room;
  room.start();
  room.stop();
  const auto in_history = [&](const char* statement) {
    sqlite3* file = nullptr;
    REQUIRE(sqlite3_open(room.history_file().c_str(), &file) == SQLITE_OK);
    REQUIRE(sqlite3_exec(file, statement, nullptr, nullptr, nullptr) == SQLITE_OK);
    sqlite3_close(file);
  };
  in_history("PRAGMA user_version = 99;");
  room.start_unconnected();
  const auto ending = room.service().wait();
  REQUIRE(ending);
  CHECK(ending->code == 1);
  CHECK(room.service_says("99"));
  CHECK(room.torpor({"jars"}).code == 1);
  in_history(fmt::format("PRAGMA user_version = {};", daemon::kSchemaVersion).c_str());
  room.start();  // nothing was changed in it
}

TEST_CASE("a broker that refuses the password is named, and tried again") {
  RoomOptions options;
  options.broker.users = {{"torpord", "right"}};
  options.broker_keys = "user: torpord, secret: broker.secret";
  Room room(options);
  room.write("broker.secret", "wrong\n");
  room.start_unconnected();
  REQUIRE(room.service_says("password"));
  room.broker().set_password("torpord", "wrong");
  CHECK(room.service_says("taking readings from the broker"));
  CHECK(room.stop().code == 0);
}

TEST_CASE("a reload with faults keeps the running configuration and says so to the phone") {
  Room room({.rules = kWarmRule});
  room.start();
  RawSubscriber phone(room.broker(), "torpor/cellar/notice");
  room.write("rules.yaml", "rules:\n  warm-shelf: {when: temperatur above 27 °C}\n");
  room.service().signal(SIGHUP);
  REQUIRE(phone.wait_for(1));
  CHECK(phone.messages()[0].payload.find("rules.yaml:2:") != std::string::npos);
  for (int minute = 0; minute <= 11; ++minute) {
    room.say_json(kFirst + std::chrono::minutes(minute), 29.5, 60);
  }
  CHECK(phone.wait_for(2));  // the old rule still watches
}

TEST_CASE("a good reload takes a new rule into use and keeps what was learnt") {
  Room room({.rules = kWarmRule});
  room.start();
  RawSubscriber phone(room.broker(), "torpor/cellar/notice");
  room.say_json(kFirst, 20, 92);
  std::string rules = kWarmRule;
  rules += R"(  very-damp:
    concerns: place
    when: humidity above 90 %
    urgency: today
    why: A breathing cover takes up water from such air.
    remedies: [dry-air]
)";
  room.write("rules.yaml", rules);
  room.service().signal(SIGHUP);
  REQUIRE(room.service_says("the configuration was read again"));
  room.say_json(kFirst + std::chrono::minutes(1), 20, 92);
  REQUIRE(phone.wait_for(1));
  CHECK(phone.messages()[0].payload.find("shelf-1") != std::string::npos);
}
