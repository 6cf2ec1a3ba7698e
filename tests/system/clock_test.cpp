// Clocks that leap, that start wrong, that nobody keeps; sensors that are ahead; outages: a real
// service lives through them, and its keeper hears of each once.
#include <doctest/doctest.h>

#include <algorithm>
#include <cstdlib>
#include <set>

#include "tests/system/room.h"

using namespace torpor;
using namespace torpor::testing;
using namespace std::chrono_literals;

namespace {

constexpr auto kDay = std::chrono::seconds(24h);
constexpr auto kTenYears = std::chrono::seconds(3653 * kDay);
constexpr double kWarm = 86;  // degrees Fahrenheit: 30 degC
constexpr double kCool = 68;

bool long_run() {
  const char* const wanted = std::getenv("TORPOR_LONG");
  return wanted != nullptr && std::string(wanted) == "1";
}

// A cellar by the wall clock whose only voice is a bare number.
struct ClockRoom {
  ClockRoom()
      : room({.clock = "wall", .rules = kWarmRule, .unkind = true, .unkind_to_commands = true}) {
    room.set_time_server(true);
    room.set_clock_wrong(0s);
  }
  // With a jar out in the weather, which would else be nobody's business.
  void start() {
    room.start();
    REQUIRE(room.torpor({"tell", "new jar O-01 in outside"}).code == 0);
  }
  [[nodiscard]] bool alert_is(const std::string& state) const {
    const auto all = room.torpor_json({"alerts", "--all"});
    return std::ranges::any_of(all["alerts"], [&state](const nlohmann::json& alert) {
      return alert["rule"] == "warm-shelf" && alert["state"] == state;
    });
  }
  void say(double fahrenheit) {
    room.say_number(fahrenheit);
    ++count;
    REQUIRE(wait_until([&] { return room.readings().size() == count; }));
  }
  // As the sensor promises: longer ago its value would not hold.
  void say_minutes(int minutes, double fahrenheit) {
    for (int minute = 0; minute < minutes; ++minute) {
      room.pass(60s);
      say(fahrenheit);
    }
  }
  // Looks of the service at its clocks are 5 s apart, and it asks for a minute.
  void believe(const std::string& log) {
    REQUIRE(room.service_says("the board's clock was set by"));
    room.pass(65s);
    REQUIRE(room.service_says(log));
  }
  // None stamped further from now than a day; each moment once.
  void check_stamps() {
    const Instant now = std::chrono::floor<Duration>(std::chrono::system_clock::now());
    std::set<Instant> moments;
    for (const Reading& reading : room.readings()) {
      moments.insert(reading.measured_at);
      CHECK(std::chrono::abs(reading.measured_at - now) < Duration(kDay));
    }
    CHECK(moments.size() == count);
  }

  Room room;
  std::size_t count = 0;
};

}  // namespace

TEST_CASE("a clock ten years ahead for a while, then right, changes nothing for anybody") {
  if (!Room::can_be_unkind()) return;
  ClockRoom clock;
  clock.start();
  const RawSubscriber notices(clock.room.broker(), "torpor/cellar/notice");
  clock.say(kCool);
  clock.room.set_clock_wrong(kTenYears);
  clock.say(kCool);
  REQUIRE(clock.room.service_says("the board's clock was set by"));
  clock.say_minutes(3, kCool);
  clock.room.set_clock_wrong(0s);
  clock.say_minutes(12, kWarm);
  CHECK(wait_until([&] { return said(notices, "warm") == 1; }));
  clock.check_stamps();
  CHECK(said(notices, "nobody watched") == 0);
  CHECK(notices.messages().size() <= 3);  // a clock that was set is told
  CHECK(clock.room.stop().code == 0);
}

TEST_CASE(
    "a board that starts ten years ahead watches, and comes back when a server tells the time") {
  if (!Room::can_be_unkind()) return;
  ClockRoom clock;
  clock.room.set_time_server(false);
  clock.room.set_clock_wrong(kTenYears);
  clock.start();
  const RawSubscriber notices(clock.room.broker(), "torpor/cellar/notice");
  clock.say_minutes(12, kWarm);
  CHECK(wait_until([&] { return said(notices, "warm") == 1; }));  // before any server
  const auto told = clock.room.torpor(
      {"tell", "new jar B-01 in cellar/shelf-1 stage IMO-2 rice 1200 g raw 560 g sugar 1250 g"});
  CHECK(told.code == 0);
  CHECK(clock.room.torpor_json({"jar", "B-01"})["from"].get<std::string>().starts_with("203"));

  clock.room.set_clock_wrong(0s);
  clock.room.set_time_server(true);
  clock.believe("the board's clock is believed now");
  CHECK(wait_until([&] { return said(notices, "fast and is right again") == 1; }));
  CHECK(wait_until([&] {
    const auto readings = clock.room.readings();
    return std::ranges::all_of(readings, [](const Reading& reading) {
      return reading.measured_at < instant_of(1'800'000'000'000 + 400 * 86'400'000LL);
    });
  }));
  clock.check_stamps();
  CHECK(clock.room.torpor_json({"jar", "B-01"})["from"].get<std::string>().starts_with("202"));
  // And goes on as if nothing had been: it cools, the alert eases.
  clock.say_minutes(7, kCool);
  CHECK(wait_until([&] { return clock.alert_is("eased"); }));
  // A restart finds all of it so.
  CHECK(clock.room.stop().code == 0);
  clock.room.start();
  clock.say_minutes(12, kWarm);
  CHECK(wait_until([&] { return clock.alert_is("standing"); }));
  clock.check_stamps();
  CHECK(clock.room.stop().code == 0);
}

TEST_CASE("after 60 days without power one notice says so and what is open, and watching goes on") {
  if (!Room::can_be_unkind()) return;
  ClockRoom clock;
  clock.room.start();
  clock.say_minutes(12, kWarm);
  const CommandResult told = clock.room.torpor(
      {"tell",
       "new jar B-01 in cellar/shelf-1 stage IMO-2 rice 1200 g raw 560 g sugar 1250 g vessel glass "
       "3.8 l mouth 11 cm cover paper"});
  CAPTURE(told.output);
  CHECK(told.code == 0);
  clock.room.kill();
  const RawSubscriber notices(clock.room.broker(), "torpor/cellar/notice");
  clock.room.start_board_anew();
  const auto days = long_run() ? 3653 : 60;
  clock.room.set_clock_wrong(days * kDay);
  const auto begun = std::chrono::steady_clock::now();
  clock.room.start();
  const auto took = std::chrono::steady_clock::now() - begun;
  MESSAGE(days << " days: taking readings after "
               << std::chrono::duration_cast<std::chrono::milliseconds>(took).count() << " ms");
  CHECK(took < 15s);
  clock.room.say_number(kCool);
  CHECK(wait_until([&] { return clock.room.readings().size() == 13; }));
  CHECK(said(notices, "nobody watched") == 0);
  clock.room.pass(16min);
  clock.room.say_number(kCool);
  CHECK(wait_until([&] { return said(notices, "nobody watched them for") == 1; }));
  CHECK(notices.messages().size() <= 2);
  CHECK(clock.room.stop().code == 0);
}

TEST_CASE("61 bare numbers that waited at the broker are all kept, over kills too") {
  Room room({.clock = "wall"});
  room.start();
  room.say_number(68);
  REQUIRE(wait_until([&] { return room.readings().size() == 1; }));
  room.kill();
  std::vector<std::string> numbers;
  for (int i = 0; i < 61; ++i) numbers.push_back(std::to_string(60 + i % 5));
  raw_publish_lines(room.broker(), "room/n1", numbers);
  room.start();
  CHECK(wait_until([&] { return room.readings().size() == 62; }));
  if (long_run()) {
    numbers.clear();
    for (int i = 0; i < 3000; ++i) numbers.push_back(std::to_string(60.0 + i / 1000.0));
    raw_publish_lines(room.broker(), "room/n1", numbers);
    for (int kill = 0; kill < 24; ++kill) {
      room.kill();
      room.start();
    }
    CHECK(wait_until([&] { return room.readings().size() == 3062; }, 60s));
  }
  std::set<Instant> moments;
  for (const Reading& reading : room.readings()) {
    moments.insert(reading.measured_at);
    CHECK((reading.marks & kStampedOnArrival) != 0);
  }
  CHECK(moments.size() == room.readings().size());
  CHECK(room.stop().code == 0);
}

TEST_CASE("one sensor 290 s ahead leaves the others live, under either clock") {
  for (const char* by : {"wall", "readings"}) {
    CAPTURE(by);
    Room room({.clock = by});
    room.start();
    const auto now = [] { return std::chrono::floor<Duration>(std::chrono::system_clock::now()); };
    for (int round = 0; round < 3; ++round) {
      room.say_json(now() + 290s, 21.0, 60.0);
      room.say_senml(now(), 20.0, 60.0);
    }
    REQUIRE(wait_until([&] { return room.readings().size() >= 4; }));
    CHECK(wait_until([&] {
      const auto places = room.torpor_json({"places"})["places"];
      return std::ranges::any_of(places, [](const nlohmann::json& place) {
        return place["place"] == "cellar/shelf-2" && place["temperature_degC"].is_number();
      });
    }));
    for (const auto& sensor : room.torpor_json({"sensors"})["sensors"]) {
      if (sensor["sensor"] == "s2") CHECK(sensor["state"] == "live");
    }
    CHECK(room.stop().code == 0);
  }
}

TEST_CASE("a clock that drifts, and one that no server keeps, are gone by without a word") {
  if (!long_run() || !Room::can_be_unkind()) return;
  ClockRoom clock;
  clock.room.set_time_server(false);
  clock.room.start();
  const RawSubscriber notices(clock.room.broker(), "torpor/cellar/notice");
  for (int minute = 0; minute < 60; ++minute) {
    clock.room.pass(60s);
    clock.room.set_clock_wrong(std::chrono::seconds(minute / 10));
    clock.say(kCool);
  }
  clock.check_stamps();
  CHECK(said(notices, "clock") == 0);
  CHECK(clock.room.stop().code == 0);
}
