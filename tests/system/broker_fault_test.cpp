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
