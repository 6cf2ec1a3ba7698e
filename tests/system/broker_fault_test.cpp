// A broker that restarts or falls silent, and a clock that is set: nothing acknowledged is lost,
// and the service needs no restart.
#include <doctest/doctest.h>

#include <algorithm>
#include <random>
#include <set>
#include <thread>

#include "tests/system/room.h"

using namespace torpor;
using namespace torpor::testing;

namespace {

std::vector<std::string> lines_of_minutes(int from, int to) {
  std::vector<std::string> lines;
  for (int minute = from; minute < to; ++minute) {
    lines.push_back(Room::json_line(kFirst + std::chrono::minutes(minute), 20 + minute % 9, 60));
  }
  return lines;
}

// All of the sensor's readings, no moment of a quantity twice.
bool has_each_once(const Room& room, std::size_t count) {
  return wait_until(
      [&] {
        std::set<std::tuple<std::string, Quantity, Instant>> moments;
        const auto readings = room.readings();
        for (const Reading& reading : readings) {
          moments.emplace(reading.sensor, reading.quantity, reading.measured_at);
        }
        return readings.size() == count && moments.size() == count;
      },
      std::chrono::seconds(30));
}

}  // namespace

TEST_CASE("restarts of the broker in mid-stream lose no reading and give none twice") {
  constexpr int kRestarts = 5;
  constexpr int kBetween = 3000;
  Room room({.broker = {.persistence = true, .extra = {"max_queued_messages 0"}}});
  room.start();
  std::mt19937 random(20250714);
  std::uniform_int_distribution<int> milliseconds(0, 40);
  for (int i = 0; i < kRestarts; ++i) {
    raw_publish_lines(room.broker(), "room/s1", lines_of_minutes(i * kBetween, (i + 1) * kBetween));
    // The broker has them all; the service is somewhere on the way.
    std::this_thread::sleep_for(std::chrono::milliseconds(milliseconds(random)));
    room.broker().restart();
  }
  CHECK(has_each_once(room, 2u * kRestarts * kBetween));
  CHECK(room.stop().code == 0);
}

TEST_CASE("a broker that falls silent in mid-stream is waited for") {
  constexpr int kMessages = 5000;
  Room room;
  room.start();
  raw_publish_lines(room.broker(), "room/s1", lines_of_minutes(0, kMessages));
  room.broker().freeze();
  // Commands do without it.
  CHECK(room.torpor({"sensors"}).code == 0);
  std::this_thread::sleep_for(std::chrono::seconds(1));
  room.broker().thaw();
  raw_publish_lines(room.broker(), "room/s1", lines_of_minutes(kMessages, 2 * kMessages));
  CHECK(has_each_once(room, 4u * kMessages));
  CHECK(room.stop().code == 0);
}

TEST_CASE("a clock that is set a day on and back again loses no reading, and watching goes on") {
  using namespace std::chrono_literals;
  constexpr auto kDay = std::chrono::seconds(24h);
  constexpr double kWarm = 86;  // degrees Fahrenheit: 30 degC
  constexpr double kCool = 68;
  if (!Room::can_be_unkind()) return;
  Room room({.clock = "wall", .rules = kWarmRule, .unkind = true});
  room.set_clock_wrong(0s);
  room.start();
  const RawSubscriber notices(room.broker(), "torpor/cellar/notice");
  // The weather is nobody's business where no jar is out in it.
  REQUIRE(room.torpor({"tell", "new jar O-01 in outside"}).code == 0);
  std::size_t said = 0;
  const auto say_at = [&](std::chrono::seconds wrong, double fahrenheit) {
    room.set_clock_wrong(wrong);
    room.say_number(fahrenheit);
    ++said;
    // Stamped on arrival: the next one must find another millisecond.
    REQUIRE(wait_until([&] { return room.readings().size() == said; }));
  };
  const auto notices_of = [&](const std::string& text) {
    std::size_t count = 0;
    for (const RawMessage& notice : notices.messages()) {
      if (notice.payload.find(text) != std::string::npos) ++count;
    }
    return count;
  };
  // A minute apart, as the sensor promises: longer ago its value would not hold.
  const auto say_minutes = [&](std::chrono::seconds from, int count, double fahrenheit) {
    for (int minute = 0; minute < count; ++minute) {
      say_at(from + std::chrono::minutes(minute), fahrenheit);
    }
  };
  say_at(0s, kCool);
  say_minutes(kDay, 12, kWarm);
  CHECK(wait_until([&] { return notices_of("warm") == 1; }));
  // Set back: what is measured now is older than what was, kept, and no reason to say anything.
  say_minutes(15min, 12, kWarm + 2);
  // Until the clock has caught up with what it had shown.
  say_minutes(kDay + 30min, 7, kCool);
  CHECK(wait_until([&] {
    const auto all = room.torpor_json({"alerts", "--all"});
    return std::ranges::any_of(all["alerts"], [](const nlohmann::json& alert) {
      return alert["rule"] == "warm-shelf" && alert["state"] == "eased";
    });
  }));
  CHECK(notices_of("warm") == 1);
  CHECK(has_each_once(room, said));
  CHECK(room.stop().code == 0);
}
