// The broker's files as we ship them, in a real broker: who may say and hear what, and the house's
// own authority.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <cstdlib>
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

void replace(std::string& text, const std::string& what, const std::string& by) {
  for (auto at = text.find(what); at != std::string::npos; at = text.find(what, at + by.size())) {
    text.replace(at, what.size(), by);
  }
}

// A broker's folder with the shipped files as a keeper installs them: by the names that they give
// themselves, read by include_dir as Debian's broker reads them. Only ports and folders differ.
class House {
 public:
  House() {
    std::string access = shipped("torpor.access");
    replace(access, "sensors/", "room/");  // where the room's sensors publish
    // The second phone, as the access list says: the same lines once more.
    std::string lines = access.substr(access.find("user phone\n"));
    replace(lines, "user phone", "user other-phone");
    std::ofstream(path("torpor.access")) << access << "\n" << lines;
    std::filesystem::create_directory(path("conf.d"));
    std::ofstream(path("torpor.passwords")).flush();
    std::ofstream(path("torpor.service.passwords")).flush();
    let_in("torpor.service.passwords", "torpord", "four");
    let_in("torpor.passwords", "s1", "one");
    let_in("torpor.passwords", "s2", "two");
    let_in("torpor.passwords", "phone", "three");
    let_in("torpor.passwords", "other-phone", "five");
    install("mosquitto.conf");
  }

  void install(const std::string& name) const {
    std::string text = shipped(name);
    const std::string marker = "#   /etc/mosquitto/conf.d/";
    const auto at = text.find(marker);
    REQUIRE(at != std::string::npos);
    const auto from = at + marker.size();
    const std::string installed = text.substr(from, text.find('\n', from) - from);
    const auto listen = [&text](const char* as_shipped, int port) {
      replace(text, as_shipped, fmt::format("\nlistener {} 127.0.0.1\n", port));
    };
    listen("\nlistener 1883 127.0.0.1\n", service);
    listen("\nlistener 1884 127.0.0.1\n", sensors);
    listen("\nlistener 8883\n", encrypted);
    listen("\nlistener 8884\n", encrypted_service);
    replace(text, "/etc/mosquitto", folder_.text());
    std::ofstream(path("conf.d/" + installed)) << text;
  }

  [[nodiscard]] std::string path(const std::string& name) const {
    return folder_.text() + "/" + name;
  }

  [[nodiscard]] RoomOptions room() const {
    RoomOptions options;
    options.broker.listeners = "include_dir " + path("conf.d") + "\n";
    options.broker.port = service;
    options.broker.persistence = true;  // as Debian's own configuration has it
    options.broker.extra.clear();
    options.broker_keys = "user: torpord, secret: broker.secret";
    return options;
  }

  const int service = free_port(), sensors = free_port(), encrypted = free_port(),
            encrypted_service = free_port();
  const RawUser sensor{"s1", "one", sensors}, other_sensor{"s2", "two", sensors},
      phone{"phone", "three", sensors, "phone"}, other_phone{"other-phone", "five", sensors};

 private:
  void let_in(const std::string& file, const std::string& user, const std::string& password) const {
    run_command({"mosquitto_passwd", "-b", path(file), user, password});
  }

  tests::TempFolder folder_;
};

// What a sensor, a phone or a stranger publishes: refused ones are told so by an MQTT 5 broker.
bool try_to_say(const Room& room, const std::string& topic, const std::string& payload,
                const RawUser& user) {
  try {
    raw_publish(room.broker(), {topic, payload}, user);
    return true;
  } catch (const std::runtime_error&) {
    return false;
  }
}

void start(Room& room) {
  room.write("broker.secret", "four\n");
  std::filesystem::permissions(room.folder() + "/broker.secret",
                               std::filesystem::perms::owner_read);
  room.start();
}

}  // namespace

TEST_CASE(
    "by the shipped access list a sensor says its own readings only, and a phone only tells") {
  const House house;
  Room room(house.room());
  start(room);
  RawSubscriber phone(room.broker(), "torpor/cellar/#", house.phone);
  const std::string line = Room::json_line(kFirst, 20, 60);
  try_to_say(room, "room/s1", Room::json_line(kFirst, 35, 60), house.other_sensor);
  try_to_say(room, "room/s1", Room::json_line(kFirst, 35, 60), house.other_phone);
  try_to_say(room, "torpor/cellar/notice", "use every jar", house.other_phone);
  try_to_say(room, "torpor/cellar/notice", "use every jar", house.sensor);
  try_to_say(room, "torpor/cellar/tell", "retire B-01", house.sensor);
  raw_publish(room.broker(), {"room/s1", line}, house.sensor);
  raw_publish(room.broker(),
              {"torpor/cellar/tell",
               "new jar B-01 in cellar/shelf-1 rice 1200 g raw 560 g sugar 1250 g closed "
               "2025-07-14T00:00Z"},
              house.other_phone);
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

TEST_CASE("a sensor with the service's client id does not take its place") {
  const House house;
  Room room(house.room());
  start(room);
  const auto accepted = [&room](const std::string& id) {
    return room.broker().count_in_log(" as " + id + " (");
  };
  const std::size_t intakes = accepted("torpor-cellar-intake");
  const std::size_t outgoings = accepted("torpor-cellar-outgoing");
  CHECK(intakes == 1);
  CHECK(outgoings == 1);
  for (const char* id : {"torpor-cellar-intake", "torpor-cellar-outgoing"}) {
    RawUser attacker = house.sensor;
    attacker.id = id;
    // By the sensors' door it is let in as what it is.
    CHECK(try_to_say(room, "room/s1", Room::json_line(kFirst, 20, 60), attacker));
    // By the service's it is not let in at all.
    attacker.port = house.service;
    CHECK_FALSE(try_to_say(room, "room/s1", Room::json_line(kFirst, 21, 60), attacker));
    // Nor does the service's password open the sensors' door.
    CHECK_FALSE(try_to_say(room, "torpor/cellar/notice", "use every jar",
                           {"torpord", "four", house.sensors, id}));
  }
  CHECK(accepted("s1") >= 2);
  raw_publish(room.broker(), {"room/s1", Room::json_line(kFirst + std::chrono::minutes(5), 40, 60)},
              house.sensor);
  CHECK(wait_until([&] {
    for (const Reading& reading : room.readings()) {
      if (reading.raw == 40.0) return true;
    }
    return false;
  }));
  CHECK(accepted("torpor-cellar-intake") == intakes);
  CHECK(accepted("torpor-cellar-outgoing") == outgoings);
}

TEST_CASE("a service that comes in by the sensors' door hears on the phone which one is its own") {
  const char* is_long = std::getenv("TORPOR_LONG");
  if (is_long == nullptr || std::string(is_long) != "1") {
    MESSAGE("skipped: TORPOR_LONG is not 1");
    return;
  }
  const House house;
  RoomOptions options = house.room();
  options.broker.port = house.sensors;
  // A password there is all that it takes to try.
  run_command({"mosquitto_passwd", "-b", house.path("torpor.passwords"), "torpord", "four"});
  Room room(options);
  room.write("broker.secret", "four\n");
  RawSubscriber phone(room.broker(), "torpor/cellar/notice", house.phone);
  room.start_unconnected();
  CHECK(wait_until(
      [&] {
        for (const RawMessage& message : phone.messages()) {
          if (message.payload.find(
                  "let `broker: url` in torpor.yaml name the broker's port for the "
                  "service") != std::string::npos) {
            return true;
          }
        }
        return false;
      },
      std::chrono::seconds(60)));
}

TEST_CASE("a restart of the shipped broker keeps what it holds for a service that is away") {
  const House house;
  Room room(house.room());
  start(room);
  room.kill();
  raw_publish(room.broker(), {"room/s1", Room::json_line(kFirst, 20, 60)}, house.sensor);
  room.broker().restart();
  raw_publish(room.broker(), {"room/s1", Room::json_line(kFirst + std::chrono::minutes(1), 21, 61)},
              house.sensor);
  room.start();
  CHECK(wait_until([&] { return room.readings().size() == 4; }));
}

TEST_CASE("with the house's own authority the service, a sensor and a phone meet encrypted") {
  const tests::TempFolder desk;
  const std::string folder = desk.text() + "/authority";
  const std::string script = std::string(TORPOR_SOURCE_DIR) + "/deploy/authority.sh";
  run_command({"sh", script, folder, "cellar.lan", "127.0.0.1"});
  const auto readable = std::filesystem::status(folder + "/authority.key").permissions();
  CHECK((readable & (std::filesystem::perms::group_all | std::filesystem::perms::others_all)) ==
        std::filesystem::perms::none);
  // Renewed: whoever trusts the authority need not be touched.
  run_command({"sh", script, folder, "127.0.0.1", "cellar.lan"});

  const House house;
  std::filesystem::create_directory(house.path("certs"));
  for (const char* file : {"broker.pem", "broker.key"}) {
    std::filesystem::copy_file(folder + "/" + file, house.path(std::string("certs/") + file));
  }
  house.install("mosquitto-tls.conf");
  house.install("mosquitto-service-tls.conf");
  RoomOptions options = house.room();
  options.broker.port = house.encrypted_service;
  options.broker.tls = {folder + "/authority.pem", folder + "/broker.pem", folder + "/broker.key"};
  options.broker_keys += fmt::format(", tls: {{authority: {}/authority.pem}}", folder);
  Room room(options);
  start(room);
  const std::string line = Room::json_line(kFirst, 20, 60);
  // Here, too, a sensor is let in as itself, whatever id it sends, and not by the service's door.
  raw_publish(room.broker(), {"room/s1", line},
              {"s1", "one", house.encrypted, "torpor-cellar-intake"});
  CHECK_FALSE(try_to_say(room, "room/s1", line,
                         {"s1", "one", house.encrypted_service, "torpor-cellar-intake"}));
  CHECK(room.broker().count_in_log(" as torpor-cellar-intake (") == 1);
  CHECK(wait_until([&] { return room.readings().size() == 2; }));
}
