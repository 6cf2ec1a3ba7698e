// A clock that was wrong: what was stamped by it comes back, in the history as in the engine.
#include <doctest/doctest.h>

#include <algorithm>

#include "tests/daemon/service/test_room.h"
#include "tests/daemon/temp_folder.h"

namespace torpor::tests {
namespace {

using namespace daemon;

constexpr Duration kTenYears = std::chrono::days(3653);

// A bare number of the sensor outside, which has no clock of its own.
ReadingsRecord number(Instant at, double fahrenheit) {
  ReadingsRecord record{at, {}, 0, false};
  record.readings.push_back(
      {"n1", Quantity::temperature, fahrenheit, Unit::fahrenheit, at, at, kStampedOnArrival});
  record.digest = static_cast<std::uint64_t>(unix_ms(at));
  return record;
}

std::vector<Instant> measured(const StoreroomSettings& settings, const char* sensor) {
  const auto reader = Reader::open(settings.history, settings.spool);
  REQUIRE(reader);
  std::vector<Instant> times;
  auto cursor = (*reader)->readings(sensor, Quantity::temperature, instant_of(0), Instant::max());
  while (const auto reading = cursor->next()) times.push_back(reading->measured_at);
  return times;
}

// 20 minutes of heat outside, a jar told in the fifth of them, by a clock that is `wrong`.
void twenty_minutes(Storeroom& room, Duration wrong) {
  for (int at = 0; at <= 20; ++at) {
    feed(room, number(minutes(at) + wrong, 90.0));
    if (at == 5) {
      feed(room, tell("new jar B-01 in cellar/shelf-1 stage IMO-2 rice 1200 g raw 560 g sugar "
                      "1250 g vessel glass 3.8 l mouth 11 cm",
                      minutes(at) + wrong));
    }
    if (at == 12) REQUIRE(room.commit());
  }
}

std::vector<std::string> notices(Storeroom& room) {
  std::vector<std::string> lines;
  for (const OutboxMessage& message : room.take_outgoing()) {
    if (message.topic.ends_with("/notice")) lines.push_back(message.payload);
  }
  return lines;
}

const ClockMoveRecord kBack{minutes(21), minutes(0) + kTenYears, -kTenYears};

void check_all_is_back(const StoreroomSettings& settings) {
  const auto times = measured(settings, "n1");
  REQUIRE(times.size() == 21);
  for (int at = 0; at <= 20; ++at) CHECK(times[static_cast<std::size_t>(at)] == minutes(at));
  const auto reader = Reader::open(settings.history, settings.spool);
  REQUIRE(reader);
  const auto ledger = ledger_of(**reader);
  REQUIRE(ledger);
  REQUIRE(ledger->find("B-01") != nullptr);
  CHECK(ledger->find("B-01")->registered_at == minutes(5));
  CHECK(ledger->find("B-01")->stays.front().from == minutes(5));
  const auto alerts = (*reader)->alerts(false);
  REQUIRE(alerts.size() == 3);  // the others: two sensors that have never said anything
  CHECK(alerts[0].body.find("\"rule\":\"warm") != std::string::npos);
  for (const StoredAlertChange& change : (*reader)->alert_changes(1)) {
    CHECK(change.at <= minutes(21));
    CHECK(change.at >= minutes(10));
  }
  CHECK(alerts[0].body.find("\"raised\":\"2025-07-14T00:10:00Z\"") != std::string::npos);
  CHECK((*reader)->newest_measured() == minutes(20));
}

}  // namespace

TEST_CASE("a clock ten years ahead that is put right moves readings, tells, alerts and jars back") {
  const TempFolder folder;
  const StoreroomSettings settings = room_settings(folder.path(), false);
  auto room = open_room(settings);
  twenty_minutes(*room, kTenYears);
  (void)notices(*room);
  feed(*room, kBack);
  CHECK(room->wall() == minutes(21));
  REQUIRE(room->commit());
  check_all_is_back(settings);
  const auto said = notices(*room);
  REQUIRE(said.size() == 2);  // the other: two sensors beside the jar have never said anything
  CHECK(said[1] ==
        "This week: the board's clock was 3653 days fast and is right again. What came in "
        "meanwhile, with 1 entry of the journal, has its right time now (entry 2; `withdraw entry "
        "2 because \"...\"` takes that back). Nothing to do.");
  // Watching goes on where it would have.
  feed(*room, number(minutes(22), 60.0));
  for (int at = 23; at <= 30; ++at) feed(*room, number(minutes(at), 60.0));
  REQUIRE(room->commit());
  const auto reader = Reader::open(settings.history, settings.spool);
  REQUIRE(reader);
  CHECK((*reader)->alerts(true).front().body.find("\"eased\":\"2025-07-14T00:27:00Z\"") !=
        std::string::npos);
}

TEST_CASE("a crash before or after the move changes nothing of it") {
  for (const bool committed : {false, true}) {
    CAPTURE(committed);
    const TempFolder folder;
    const StoreroomSettings settings = room_settings(folder.path(), false);
    auto room = open_room(settings);
    twenty_minutes(*room, kTenYears);
    if (committed) REQUIRE(room->commit());
    feed(*room, kBack);
    room.reset();
    room = open_room(settings);
    CHECK(room->wall() == minutes(21));
    REQUIRE(room->commit());
    check_all_is_back(settings);
    room.reset();
    room = open_room(settings);
    REQUIRE(room->commit());
    check_all_is_back(settings);
  }
}

TEST_CASE("what the clock's entry moved in the journal can be taken back") {
  const TempFolder folder;
  const StoreroomSettings settings = room_settings(folder.path(), false);
  auto room = open_room(settings);
  // Two days slow: the jar is told in the past.
  twenty_minutes(*room, Duration{});
  feed(*room,
       ClockMoveRecord{minutes(21) + std::chrono::days(2), minutes(0), std::chrono::days(2)});
  feed(*room, tell("withdraw entry 2 because \"the first clock was right\"",
                   minutes(30) + std::chrono::days(2)));
  REQUIRE(room->commit());
  const auto reader = Reader::open(settings.history, settings.spool);
  REQUIRE(reader);
  const auto ledger = ledger_of(**reader);
  REQUIRE(ledger);
  CHECK(ledger->happened_at(1) == minutes(5));
  CHECK(ledger->find("B-01")->registered_at == minutes(5));
  CHECK(ledger->withdrawn_by(2) == 3);
}

TEST_CASE("folded days of a wrong clock are moved, and none is lost where another stands") {
  const TempFolder folder;
  const auto path = folder.path() / "history.sqlite3";
  auto store = Store::open(path);
  REQUIRE(store);
  const auto put = [&](Instant at, std::uint8_t marks) {
    Reading reading{"n1", Quantity::temperature, 70.0, Unit::fahrenheit, at, at, marks};
    REQUIRE((*store)->put_reading(reading) == Stored::fresh);
  };
  REQUIRE((*store)->begin());
  for (int minute = 0; minute < 3 * 1440; ++minute) {
    put(minutes(minute) + kTenYears, kStampedOnArrival);
  }
  put(minutes(7), kStampedOnArrival);                      // of before
  put(minutes(100) + kTenYears + Duration(5), kUnmarked);  // of its own time
  REQUIRE((*store)->commit());
  REQUIRE((*store)->fold_days(minutes(4 * 1440) + kTenYears, 100) == 4u);
  REQUIRE((*store)->begin());
  REQUIRE((*store)->move_stamps(minutes(0) + kTenYears, -kTenYears,
                                [](std::string_view body) { return std::string(body); }));
  REQUIRE((*store)->commit());
  const auto all = [&] {
    const auto reader = Reader::open(path, "");
    REQUIRE(reader);
    std::vector<Instant> times;
    auto cursor = (*reader)->readings("n1", Quantity::temperature, instant_of(0), Instant::max());
    while (const auto reading = cursor->next()) times.push_back(reading->measured_at);
    return times;
  };
  auto times = all();
  REQUIRE(times.size() == 3 * 1440 + 2);
  CHECK(std::count(times.begin(), times.end(), minutes(7) + Duration(1)) == 1);
  CHECK(times.back() == minutes(100) + kTenYears + Duration(5));
  CHECK(times[times.size() - 2] == minutes(3 * 1440 - 1));
  // They are folded again.
  REQUIRE((*store)->fold_days(minutes(4 * 1440), 100) == 3u);
  CHECK(all() == times);
}

}  // namespace torpor::tests
