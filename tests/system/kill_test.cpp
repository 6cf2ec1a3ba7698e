// kill -9 in mid-stream: what the broker has been told is kept is there, exactly once, and the
// alerts are those of an undisturbed run.
#include <doctest/doctest.h>

#include <cstdlib>
#include <random>
#include <set>
#include <thread>

#include "daemon/history/store.h"
#include "daemon/service/storeroom.h"
#include "tests/system/room.h"

using namespace torpor;
using namespace torpor::testing;

namespace {

// So many for each kill that most kills come before the last reading was taken.
constexpr std::size_t kMessagesPerKill = 3000;

// Warm and cool hours in turn, so that alerts come and go all along.
std::vector<std::string> days_of_readings(std::size_t messages) {
  std::vector<std::string> lines;
  for (int i = 0; lines.size() < messages; ++i) {
    const bool warm = (i / 180) % 2 == 1;
    lines.push_back(Room::json_line(kFirst + std::chrono::minutes(i),
                                    (warm ? 28.0 : 23.0) + i % 7 * 0.1, 50.0 + i % 30));
  }
  return lines;
}

std::vector<daemon::StoredAlert> alerts_of(const Room& room) {
  auto reader =
      daemon::Reader::open(room.history_file(), daemon::spool_folder(room.history_file()));
  REQUIRE(reader);
  return (*reader)->alerts(false);
}

// Messages that can be read, mostly told by the summaries of their days.
std::size_t taken(const Room& room) {
  const auto reader =
      daemon::Reader::open(room.history_file(), daemon::spool_folder(room.history_file()));
  if (!reader) return 0;
  return (*reader)->summary("s1", Quantity::humidity, instant_of(0), Instant::max()).readings;
}

bool has_all(const Room& room, std::size_t messages) {
  return wait_until([&] { return taken(room) == messages; }, std::chrono::minutes(5));
}

}  // namespace

TEST_CASE("not one acknowledged reading is missing after kills in mid-stream") {
  const bool long_run =
      std::getenv("TORPOR_LONG") != nullptr && std::string(std::getenv("TORPOR_LONG")) == "1";
  const int kills = long_run ? 200 : 20;
  const std::vector<std::string> lines =
      days_of_readings(static_cast<std::size_t>(kills) * kMessagesPerKill);

  Room room({.rules = kWarmRule});
  room.start();
  std::jthread sensors([&] { raw_publish_lines(room.broker(), "room/s1", lines); });
  std::mt19937 random(20250714);
  std::uniform_int_distribution<int> milliseconds(0, 60);
  int in_mid_stream = 0;
  for (int kill = 0; kill < kills; ++kill) {
    std::this_thread::sleep_for(std::chrono::milliseconds(milliseconds(random)));
    room.kill();
    if (taken(room) < lines.size()) ++in_mid_stream;
    room.start();
  }
  sensors.join();
  REQUIRE(has_all(room, lines.size()));
  MESSAGE(kills << " kills, " << in_mid_stream << " of them before the last reading was taken");
  CHECK(in_mid_stream > 0);
  room.stop();

  std::set<std::pair<Quantity, Instant>> once;
  for (const Reading& reading : room.readings()) {
    CHECK(once.emplace(reading.quantity, reading.measured_at).second);
  }
  CHECK(once.size() == 2 * lines.size());

  Room calm({.rules = kWarmRule});
  calm.start();
  raw_publish_lines(calm.broker(), "room/s1", lines);
  REQUIRE(has_all(calm, lines.size()));
  calm.stop();
  const auto undisturbed = alerts_of(calm);
  CHECK(!undisturbed.empty());
  CHECK(alerts_of(room) == undisturbed);
}
