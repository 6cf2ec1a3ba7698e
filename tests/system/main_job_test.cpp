// The main job, from a sensor's message to a phone's, through a real broker.
#include <doctest/doctest.h>

#include "tests/system/room.h"

using namespace torpor;
using namespace torpor::testing;
using std::chrono::minutes;

namespace {

const char kNewJar[] =
    "new jar F-01 in cellar/shelf-1 stage IMO-2 rice 1200 g raw 660 g sugar 1250 g closed "
    "2025-07-01";

std::string last_payload(const RawSubscriber& subscriber) {
  const auto messages = subscriber.messages();
  return messages.empty() ? "" : messages.back().payload;
}

}  // namespace

TEST_CASE("a warm shelf reaches the phone, is seen, eases and ends") {
  Room room({.rules = kWarmRule});
  room.start();
  const CommandResult told = room.torpor({"tell", kNewJar});
  CAPTURE(told.output);
  CHECK(told.code == 0);
  CHECK(told.output.find("F-01") != std::string::npos);

  RawSubscriber phone(room.broker(), "torpor/cellar/notice");
  RawSubscriber alert(room.broker(), "torpor/cellar/alert/+");
  for (int minute = 0; minute <= 11; ++minute) room.say_json(kFirst + minutes(minute), 29.5, 60);
  REQUIRE(phone.wait_for(1));
  const std::string notice = phone.messages()[0].payload;
  CAPTURE(notice);
  CHECK(notice.rfind("Today:", 0) == 0);
  CHECK(notice.find("shelf-1") != std::string::npos);
  CHECK(notice.find("F-01") != std::string::npos);
  CHECK(!phone.messages()[0].retained);
  REQUIRE(alert.wait_for(1));
  const auto raised = nlohmann::json::parse(alert.messages()[0].payload);
  CHECK(raised["rule"] == "warm-shelf");
  CHECK(raised["subject"] == "cellar/shelf-1");
  CHECK(raised["jars"] == nlohmann::json::array({"F-01"}));
  CHECK(raised["since"] == "2025-07-14T00:10:00Z");
  CHECK(room.torpor_json({"alerts"})["alerts"].size() == 1);

  raw_publish(room.broker(), {"torpor/cellar/tell", "seen alert 1 by \"Mira\""});
  REQUIRE(wait_until([&] { return last_payload(alert).find("Mira") != std::string::npos; }));

  for (int minute = 12; minute <= 90; ++minute) room.say_json(kFirst + minutes(minute), 22, 60);
  REQUIRE(wait_until([&] { return last_payload(alert).empty(); }));
  CHECK(room.torpor_json({"alerts"})["alerts"].empty());
  const auto all = room.torpor_json({"alerts", "--all"});
  REQUIRE(all["alerts"].size() == 1);
  CHECK(!all["alerts"][0]["ended"].is_null());

  // A phone that comes later finds nothing retained of an alert that is over.
  RawSubscriber late_phone(room.broker(), "torpor/cellar/alert/+");
  room.say_json(kFirst + minutes(91), 22, 60);
  CHECK(late_phone.messages().empty());
}

TEST_CASE("each payload form is understood, and a probe's place and unit are kept") {
  Room room;
  room.start();
  room.say_json(kFirst, 20.25, 55);
  room.say_senml(kFirst + minutes(1), 21.5, 61);
  room.say_number(68);
  REQUIRE(wait_until([&] { return room.readings().size() == 5; }));
  const auto readings = room.readings();
  for (const Reading& reading : readings) {
    if (reading.sensor == "n1") {
      CHECK(reading.raw == 68);
      CHECK(reading.unit == Unit::fahrenheit);
      CHECK(reading.value() == doctest::Approx(20.0));
      CHECK(reading.measured_at == kFirst + minutes(1));  // the readings' clock
    }
  }
  const auto places = room.torpor_json({"places"})["places"];
  CHECK(places.size() == 4);
}

TEST_CASE("a service that starts before its broker takes readings once it is up") {
  Room room({.broker_runs = false});
  room.start_unconnected();
  REQUIRE(room.service_says("torpor-cellar-intake:"));
  room.broker().start();
  REQUIRE(room.service_says("taking readings from the broker"));
  room.say_json(kFirst, 20, 60);
  CHECK(wait_until([&] { return room.readings().size() == 2; }));
}

TEST_CASE("readings that arrive while the service is away are taken when it is back") {
  Room room;
  room.start();
  room.say_json(kFirst, 20, 60);
  REQUIRE(wait_until([&] { return room.readings().size() == 2; }));
  room.kill();
  for (int minute = 1; minute <= 30; ++minute) room.say_json(kFirst + minutes(minute), 20, 60);
  room.start();
  CHECK(wait_until([&] { return room.readings().size() == 62; }));
}

TEST_CASE("a clean stop says so to the phone and marks the service gone") {
  Room room;
  room.start();
  RawSubscriber phone(room.broker(), "torpor/cellar/notice");
  const Ending ending = room.stop();
  CHECK(ending.code == 0);
  REQUIRE(phone.wait_for(1));
  CHECK(phone.messages()[0].payload.find("was stopped") != std::string::npos);
  RawSubscriber service(room.broker(), "torpor/cellar/service");
  REQUIRE(service.wait_for(1));
  CHECK(nlohmann::json::parse(service.messages()[0].payload)["state"] == "gone");
}

TEST_CASE("a killed service is marked gone by the broker") {
  Room room;
  room.start();
  RawSubscriber service(room.broker(), "torpor/cellar/service");
  REQUIRE(service.wait_for(1));
  CHECK(nlohmann::json::parse(service.messages()[0].payload)["state"] == "running");
  room.kill();
  CHECK(
      wait_until([&] { return nlohmann::json::parse(last_payload(service))["state"] == "gone"; }));
}

TEST_CASE("a tell of an earlier alert's number or garbage is answered with a valid form") {
  Room room;
  room.start();
  const CommandResult garbage = room.torpor({"tell", "plese help"});
  CAPTURE(garbage.output);
  CHECK(garbage.code == 65);
  CHECK(garbage.output.find("not recorded") != std::string::npos);
  CHECK(room.torpor({"tell", "seen alert 12"}).code == 65);
  CHECK(room.torpor({"tell", kNewJar}).code == 0);
  CHECK(room.torpor({"tell", kNewJar}).code == 65);  // it exists
  CHECK(room.torpor({"tell", "move F-01 to cellar/shelf-9"}).code == 65);
  CHECK(room.torpor({"tell", "move f1 to cellar/shelf-2"}).code == 0);
  CHECK(room.torpor_json({"jar", "F-01"})["stays"].size() == 2);
}

TEST_CASE("the reading commands say the same with and without the service") {
  Room room;
  room.start();
  REQUIRE(room.torpor({"tell", kNewJar}).code == 0);
  for (int minute = 0; minute < 30; ++minute) room.say_json(kFirst + minutes(minute), 20, 60);
  REQUIRE(wait_until([&] { return room.readings().size() == 60; }));
  // Its answer follows a commit, with which all that the engine knows of the sensors is stored.
  REQUIRE(room.torpor({"tell", "F-01 all well"}).code == 0);
  const std::vector<std::vector<std::string>> commands = {
      {"jars"}, {"jar", "F-01"}, {"places"}, {"sensors"}, {"alerts", "--all"}};
  std::vector<nlohmann::json> running;
  for (const auto& command : commands) running.push_back(room.torpor_json(command));
  room.stop();
  for (std::size_t i = 0; i < commands.size(); ++i) {
    CAPTURE(commands[i][0]);
    CHECK(room.torpor_json(commands[i]) == running[i]);
    CHECK(room.torpor(commands[i]).code == 0);
  }
  CHECK(room.torpor({"tell", "ask jars"}).code == 69);  // nobody is there to answer
}
