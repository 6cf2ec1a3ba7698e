// Files as each released version wrote them, whole and damaged. They are never made again: this
// test says what must still be read from them.
#include <doctest/doctest.h>

#include <cmath>
#include <limits>

#include "daemon/history/inbox.h"
#include "daemon/history/store.h"
#include "samples.h"
#include "test_files.h"

namespace torpor::daemon {
namespace {

namespace fs = std::filesystem;
const fs::path kFixtures = TORPOR_FIXTURES;

// Opening cuts and SQLite writes beside: fixtures are read as copies.
fs::path copy_of(const TempFolder& scratch, const char* name) {
  fs::copy(kFixtures / name, scratch / name, fs::copy_options::recursive);
  return scratch / name;
}

std::vector<InboxRecord> records_of_format_1() {
  std::vector<InboxRecord> records(4);
  for (std::size_t i = 0; i < 4; ++i) records[i].sequence = 41 + i;
  ReadingsRecord readings;
  readings.received_at = instant_of(1772476200250);
  readings.digest = 0xfedcba9876543210u;
  readings.redelivered = true;
  readings.readings = {
      {"s1", Quantity::temperature, 21.5, Unit::celsius, instant_of(1772476200000),
       instant_of(1772476200250), kUnmarked},
      {"s1", Quantity::humidity, 61.25, Unit::percent, instant_of(1772476200000),
       instant_of(1772476200250), kStampedOnArrival},
      {"kühl/2", Quantity::temperature, -0.0, Unit::fahrenheit, instant_of(1772476199999),
       instant_of(1772476200250), kImported | kOutOfRange},
      {"kühl/2", Quantity::temperature, std::numeric_limits<double>::denorm_min(), Unit::kelvin,
       instant_of(946684800000), instant_of(1772476200250), kImported}};
  records[0].payload = readings;
  records[1].payload = TellRecord{instant_of(1772476201000),      "B-01 B-02 all well", "Anna",
                                  "torpor/cellar/answer/phone-1", {"\0\xff\x7f", 3},    true};
  records[2].payload = LinkRecord{instant_of(1772476202000), true};
  records[3].payload = TickRecord{instant_of(1772476203000)};
  return records;
}

TEST_CASE("an inbox of format 1 is read whole") {
  const TempFolder scratch;
  const auto folder = copy_of(scratch, "inbox-1-whole");
  CHECK(peek_inbox(folder, {}, 0) == records_of_format_1());
  const auto inbox = open_inbox(folder);
  CHECK(inbox->read_after(0) == records_of_format_1());
  CHECK(inbox->damaged() == 0);
  CHECK(must(inbox->append(tick(0))).sequence == 45);
}

TEST_CASE("an inbox of format 1 with one flipped bit is read whole, and the damage is counted") {
  const TempFolder scratch;
  const auto inbox = open_inbox(copy_of(scratch, "inbox-1-damaged"), 40);
  CHECK(inbox->read_after(0) == records_of_format_1());
  CHECK(inbox->damaged() == 1);
  CHECK(inbox->loss().missing == 0);
}

TEST_CASE("an inbox of format 1 with a torn end is read up to it") {
  const TempFolder scratch;
  auto expected = records_of_format_1();
  expected.pop_back();
  const auto inbox = open_inbox(copy_of(scratch, "inbox-1-torn"));
  CHECK(inbox->read_after(0) == expected);
  CHECK(inbox->damaged() == 0);
  CHECK(must(inbox->append(tick(0))).sequence == 44);
}

// What the histories of all schemas hold.
void check_history(const fs::path& file) {
  const auto readings = std::get<ReadingsRecord>(records_of_format_1()[0].payload).readings;
  const auto reader = must(Reader::open(file, {}));
  CHECK(reader->known_sensors() == std::vector<std::string>{"kühl/2", "s1"});
  CHECK(drain(*reader->readings("s1", Quantity::temperature, instant_of(0), kAlways)) ==
        std::vector<Reading>{readings[0]});
  CHECK(drain(*reader->readings("s1", Quantity::humidity, instant_of(0), kAlways)) ==
        std::vector<Reading>{readings[1]});
  const auto cold =
      drain(*reader->readings("kühl/2", Quantity::temperature, instant_of(0), kAlways));
  CHECK(cold == std::vector<Reading>{readings[3], readings[2]});
  CHECK(std::signbit(cold.at(1).raw));
  CHECK(reader->newest_measured() == instant_of(1772476200000));
  CHECK(reader->note("service") == "{\"state\":\"gone\"}");

  const auto store = must(Store::open(file));
  const rules::SensorSpec s1{"s1",
                             "cellar/shelf-1",
                             "",
                             rules::Senses::air,
                             {Quantity::temperature, Quantity::humidity},
                             Duration(60'000),
                             Duration(180'000)};
  const rules::SensorSpec p7{"p7",
                             "",
                             "B-07",
                             rules::Senses::culture,
                             {Quantity::temperature},
                             Duration(600'000),
                             Duration(1'800'000)};
  CHECK(store->placements() == std::vector<Placement>{{s1, instant_of(0)}, {p7, instant_of(0)}});
  CHECK(store->journal() ==
        std::vector<JournalEntry>{{1, instant_of(1772476200000), instant_of(1772476201000), "Anna",
                                   "open B-07", "{\"act\":\"open\"}"}});
  CHECK(store->alerts(false) ==
        std::vector<StoredAlert>{{11, false, "{\"number\":11}"}, {12, true, "{\"number\":12}"}});
  CHECK(reader->alert_changes(12) == std::vector<StoredAlertChange>{{12, instant_of(1772476202000),
                                                                     "raised", "{\"number\":12}"}});
  CHECK(store->outbox() ==
        std::vector<OutboxMessage>{
            {"12/raised", "torpor/cellar/notice", "Wärme: 27 °C", false, {"\0\xff", 2}}});
  CHECK(store->answer({"\0\xff\x7f", 3}) == "noted: B-01, B-02 all well");
  CHECK(store->snapshot().sequence == 44);
  CHECK(store->snapshot().bytes == std::string("\0engine\xff", 8));
}

TEST_CASE("a history of schema 1 is brought up to date whole, and kept as it was") {
  const TempFolder scratch;
  const auto file = copy_of(scratch, "history-1.sqlite3");
  const auto unread = Reader::open(file, {});
  REQUIRE_FALSE(unread);
  CHECK(unread.error().text == file.string() +
                                   " was written by an older torpor; start torpord once, it "
                                   "brings the file up to date");
  must(Store::open(file));
  check_history(file);
  CHECK(must(Store::open(file))->jar_models().empty());

  const auto kept = scratch / "history-1.sqlite3.v1";
  CHECK(fs::status(kept).permissions() == fs::perms(0600));
  CHECK_FALSE(Reader::open(kept, {}));  // still schema 1
  must(Store::open(kept));
  check_history(kept);
}

// What schema 2 brought.
void check_jars(const fs::path& file) {
  const auto reader = must(Reader::open(file, {}));
  CHECK(reader->jar_models() ==
        std::vector<StoredJarModel>{{"B-07", {"\0model\xff", 7}}, {"B-08", ""}});
  CHECK(reader->jar_checkpoint_before("B-07", kAlways) ==
        StoredJarCheckpoint{instant_of(1772409600000), "later"});
  CHECK(reader->jar_checkpoint_before("B-07", instant_of(1772409599999)) ==
        StoredJarCheckpoint{instant_of(1772323200000), "day"});
  CHECK_FALSE(reader->fault());
}

TEST_CASE("a history of schema 2 is brought up to date whole, and kept as it was") {
  const TempFolder scratch;
  const auto file = copy_of(scratch, "history-2.sqlite3");
  CHECK_FALSE(Reader::open(file, {}));
  must(Store::open(file));
  check_history(file);
  check_jars(file);
  CHECK(must(Reader::open(file, {}))->jar_days("B-07", 0, 100'000).empty());
  CHECK(fs::exists(scratch / "history-2.sqlite3.v2"));
}

TEST_CASE("a history of schema 3 is read whole, by readers and by the writer") {
  const TempFolder scratch;
  const auto file = copy_of(scratch, "history-3.sqlite3");
  check_history(file);
  check_jars(file);
  const auto reader = must(Reader::open(file, {}));
  CHECK(reader->jar_days("B-07", 0, 100'000) ==
        std::vector<StoredJarDay>{{20512, {"\0day\xff", 5}}, {20513, ""}});
  CHECK_FALSE(reader->fault());
}

TEST_CASE(
    "a history of schema 1 that lost its second half is left as it is, and never taken whole") {
  const TempFolder scratch;
  const auto file = copy_of(scratch, "history-1-damaged.sqlite3");
  const std::string before = file_bytes(file);
  const auto store = Store::open(file);
  REQUIRE_FALSE(store);
  CHECK(store.error().kind == ErrorKind::corrupt);
  CHECK(file_bytes(file) == before);
  CHECK_FALSE(fs::exists(scratch / "history-1-damaged.sqlite3.v1"));
}

TEST_CASE("a history of schema 2 that lost its second half is reported, never read as complete") {
  const TempFolder scratch;
  const auto file = copy_of(scratch, "history-2-damaged.sqlite3");
  const auto reader = Reader::open(file, {});
  if (!reader) {
    CHECK(reader.error().kind == ErrorKind::corrupt);
    return;
  }
  for (const std::string& sensor : (*reader)->known_sensors()) {
    drain(*(*reader)->readings(sensor, Quantity::temperature, instant_of(0), kAlways));
  }
  static_cast<void>((*reader)->journal());
  static_cast<void>((*reader)->alerts(false));
  static_cast<void>((*reader)->placements());
  static_cast<void>((*reader)->jar_models());
  static_cast<void>((*reader)->jar_checkpoint_before("B-07", kAlways));
  REQUIRE((*reader)->fault());
  CHECK((*reader)->fault()->kind == ErrorKind::corrupt);
}

}  // namespace
}  // namespace torpor::daemon
