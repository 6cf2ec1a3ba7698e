// The broker's files as we ship them, in a real broker: who may say and hear what, and the house's
// own authority.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <filesystem>
#include <fstream>
#include <iterator>
#include <sstream>
#include <stdexcept>

#include "tests/system/room.h"

using namespace torpor;
using namespace torpor::testing;

namespace {

std::string shipped(const std::string& name) {
  std::ifstream file(std::string(TORPOR_SOURCE_DIR) + "/deploy/" + name);
  return {std::istreambuf_iterator<char>(file), {}};
}

// Lines of a shipped configuration but those that say where things are: the tests' broker has its
// own port and folder.
std::vector<std::string> settings_of(const std::string& name) {
  std::vector<std::string> lines;
  std::istringstream text(shipped(name));
  for (std::string line; std::getline(text, line);) {
    const std::string key = line.substr(0, line.find(' '));
    bool where = line.empty() || line.front() == '#';
    for (const char* own :
         {"listener", "allow_anonymous", "password_file", "acl_file", "certfile", "keyfile"}) {
      where = where || key == own;
    }
    if (!where) lines.push_back(line);
  }
  return lines;
}

// The room's sensors publish below room/, not sensors/.
std::string access_list() {
  std::string list = shipped("torpor.access");
  for (auto at = list.find("sensors/"); at != std::string::npos; at = list.find("sensors/", at)) {
    list.replace(at, std::string("sensors").size(), "room");
  }
  return list;
}

// What a sensor, a phone or a stranger publishes: refused ones are told so by an MQTT 5 broker.
void try_to_say(const Room& room, const std::string& topic, const std::string& payload,
                const RawUser& user) {
  try {
    raw_publish(room.broker(), {topic, payload}, user);
  } catch (const std::runtime_error&) {
  }
}

const RawUser kSensor{"s1", "one"};
const RawUser kOtherSensor{"s2", "two"};
const RawUser kPhone{"phone", "three"};

RoomOptions as_shipped() {
  RoomOptions options;
  options.broker.users = {{"torpord", "four"}, {"s1", "one"}, {"s2", "two"}, {"phone", "three"}};
  options.broker.access_list = access_list();
  options.broker.extra = settings_of("mosquitto.conf");
  options.broker_keys = "user: torpord, secret: broker.secret";
  return options;
}

}  // namespace

TEST_CASE(
    "by the shipped access list a sensor says its own readings only, and a phone only tells") {
  Room room(as_shipped());
  room.write("broker.secret", "four\n");
  room.start();
  RawSubscriber phone(room.broker(), "torpor/cellar/#", kPhone);
  const std::string line = Room::json_line(kFirst, 20, 60);
  try_to_say(room, "room/s1", Room::json_line(kFirst, 35, 60), kOtherSensor);
  try_to_say(room, "room/s1", Room::json_line(kFirst, 35, 60), kPhone);
  try_to_say(room, "torpor/cellar/notice", "use every jar", kPhone);
  try_to_say(room, "torpor/cellar/notice", "use every jar", kSensor);
  try_to_say(room, "torpor/cellar/tell", "retire B-01", kSensor);
  raw_publish(room.broker(), {"room/s1", line}, kSensor);
  raw_publish(room.broker(),
              {"torpor/cellar/tell",
               "new jar B-01 in cellar/shelf-1 rice 1200 g raw 560 g sugar 1250 g closed "
               "2025-07-14T00:00Z"},
              kPhone);
  const auto heard = [&](const std::string& text) {
    for (const RawMessage& message : phone.messages()) {
      if (message.payload.find(text) != std::string::npos) return true;
    }
    return false;
  };
  CHECK(wait_until([&] { return heard("B-01"); }));
  CHECK_FALSE(heard("use every jar"));
  const auto jars = room.torpor_json({"jars"});
  REQUIRE(jars["jars"].size() == 1);
  const auto readings = room.readings();
  REQUIRE(readings.size() == 2);
  for (const Reading& reading : readings) CHECK(reading.raw != 35.0);
}

TEST_CASE("with the house's own authority the service, a sensor and a phone meet encrypted") {
  const tests::TempFolder house;
  const std::string folder = house.text() + "/authority";
  const std::string script = std::string(TORPOR_SOURCE_DIR) + "/deploy/authority.sh";
  run_command({"sh", script, folder, "cellar.lan", "127.0.0.1"});
  const auto readable = std::filesystem::status(folder + "/authority.key").permissions();
  CHECK((readable & (std::filesystem::perms::group_all | std::filesystem::perms::others_all)) ==
        std::filesystem::perms::none);
  // Renewed: whoever trusts the authority need not be touched.
  run_command({"sh", script, folder, "127.0.0.1", "cellar.lan"});

  RoomOptions options = as_shipped();
  options.broker.tls = {folder + "/authority.pem", folder + "/broker.pem", folder + "/broker.key"};
  for (std::string& line : settings_of("mosquitto-tls.conf")) {
    options.broker.extra.push_back(std::move(line));
  }
  options.broker_keys += fmt::format(", tls: {{authority: {}/authority.pem}}", folder);
  Room room(options);
  room.write("broker.secret", "four\n");
  room.start();
  raw_publish(room.broker(), {"room/s1", Room::json_line(kFirst, 20, 60)}, kSensor);
  CHECK(wait_until([&] { return room.readings().size() == 2; }));
}
