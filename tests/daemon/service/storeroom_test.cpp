#include "daemon/service/storeroom.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <fstream>
#include <map>
#include <random>

#include "daemon/history/sqlite.h"
#include "tests/daemon/service/test_room.h"
#include "tests/daemon/temp_folder.h"

using namespace torpor;
using namespace torpor::daemon;
using namespace torpor::tests;

namespace {

const char kNewJar[] =
    "new jar F-01 in cellar/shelf-1 stage IMO-2 rice 1200 g raw 660 g sugar 1250 g closed "
    "2025-07-01";

std::string sent_to(const std::vector<OutboxMessage>& messages, const std::string& topic) {
  std::string payloads;
  for (const auto& message : messages) {
    if (message.topic == topic) payloads += message.payload + "\n";
  }
  return payloads;
}

void warm_up(Storeroom& room, int from, int to) {
  for (int minute = from; minute < to; ++minute) {
    feed(room, reading("s1", minutes(minute), 29.0, 60.0));
  }
}

// A day in the storeroom with everything that can happen to an input.
std::vector<InboxPayload> random_inputs(std::mt19937& random) {
  std::uniform_real_distribution<double> chance;
  std::vector<InboxPayload> inputs;
  inputs.emplace_back(tell(kNewJar, minutes(0)));
  double celsius = 24.0, percent = 80.0;
  for (int minute = 0; minute < 240; ++minute) {
    celsius += 2.0 * (chance(random) - 0.5);
    percent = std::clamp(percent + 4.0 * (chance(random) - 0.5), 60.0, 95.0);
    if (chance(random) < 0.9) {
      inputs.emplace_back(reading("s1", minutes(minute), celsius, percent));
    }
    if (chance(random) < 0.5) {
      inputs.emplace_back(reading("s2", minutes(minute), celsius - 2.0, percent));
    }
    if (chance(random) < 0.05) inputs.push_back(inputs[inputs.size() / 2]);  // said twice
    if (chance(random) < 0.05) {
      inputs.emplace_back(
          reading("s1", minutes(minute - 7) + std::chrono::seconds(20), celsius, 50));
    }
    if (chance(random) < 0.03) {
      inputs.emplace_back(tell(minute % 2 ? "move F-01 to cellar/shelf-2" : "seen", minutes(minute),
                               "c" + std::to_string(minute)));
    }
    if (chance(random) < 0.01) inputs.emplace_back(tell("check s1 in ice", minutes(minute)));
    if (chance(random) < 0.02) inputs.emplace_back(LinkRecord{minutes(minute), minute % 2 == 0});
    if (chance(random) < 0.02) {  // the clock of the machine is set, and set back
      inputs.emplace_back(TickRecord{minutes(minute) + std::chrono::days(1)});
      inputs.emplace_back(TickRecord{minutes(minute) - std::chrono::days(1)});
    }
    if (chance(random) < 0.02) minute += 30;  // a gap
  }
  return inputs;
}

// All that a run leaves behind.
struct Outcome {
  std::vector<StoredAlert> alerts;
  std::vector<StoredAlertChange> changes;
  std::vector<JournalEntry> journal;
  std::vector<Reading> readings;
  std::map<std::string, OutboxMessage> sent;
  bool operator==(const Outcome&) const = default;
};

Outcome outcome_of(const StoreroomSettings& settings, std::map<std::string, OutboxMessage> sent) {
  Outcome outcome;
  auto reader = Reader::open(settings.history, settings.spool);
  REQUIRE(reader);
  outcome.alerts = (*reader)->alerts(false);
  for (const auto& alert : outcome.alerts) {
    for (auto& change : (*reader)->alert_changes(alert.number)) outcome.changes.push_back(change);
  }
  outcome.journal = (*reader)->journal();
  for (const std::string& sensor : (*reader)->known_sensors()) {
    for (const auto& quantity : quantities()) {
      auto cursor = (*reader)->readings(sensor, quantity.quantity, instant_of(0), Instant::max());
      while (auto reading = cursor->next()) outcome.readings.push_back(*reading);
    }
  }
  outcome.sent = std::move(sent);
  return outcome;
}

// Feeds the inputs; after each, commits with one chance and is killed with the other.
Outcome run(const StoreroomSettings& settings, const std::vector<InboxPayload>& inputs,
            std::mt19937& random, double commits, double kills) {
  std::uniform_real_distribution<double> chance;
  std::map<std::string, OutboxMessage> sent;
  auto room = open_room(settings);
  const auto collect = [&] {
    for (OutboxMessage& message : room->take_outgoing()) {
      const auto [at, fresh] = sent.emplace(message.id, message);
      CHECK(at->second == message);  // a repeat has the same id and says the same
    }
  };
  for (const InboxPayload& input : inputs) {
    feed(*room, input);
    if (chance(random) < commits) {
      REQUIRE(room->commit());
      if (chance(random) < 0.5) collect();  // else killed between commit and sending
    }
    if (chance(random) < kills) {
      room.reset();
      room = open_room(settings);
    }
  }
  REQUIRE(room->commit());
  collect();
  return outcome_of(settings, std::move(sent));
}

}  // namespace

TEST_CASE("a commit without anything new writes no snapshot, after a restart either") {
  const TempFolder folder;
  const auto settings = room_settings(folder.path());
  const auto log = settings.history.string() + "-wal";
  auto room = open_room(settings);
  feed(*room, reading("s1", minutes(0), 18.0, 60.0));
  REQUIRE(room->commit());
  const auto once = std::filesystem::file_size(log);
  REQUIRE(once > 0);
  REQUIRE(room->commit());
  CHECK(std::filesystem::file_size(log) == once);
  feed(*room, reading("s1", minutes(1), 18.5, 60.0));
  REQUIRE(room->commit());
  CHECK(std::filesystem::file_size(log) > once);
  room.reset();
  room = open_room(settings);
  REQUIRE(room->commit());
  const auto after = std::filesystem::file_size(log);
  REQUIRE(room->commit());
  CHECK(std::filesystem::file_size(log) == after);
}

TEST_CASE("old readings go when they may, but not those of a jar that still stands") {
  const TempFolder folder;
  StoreroomSettings settings = room_settings(folder.path());
  settings.settings.history.keep = std::chrono::days(365);
  const auto room = open_room(settings);
  const auto day = [](int number) { return minutes(number * 1440); };
  // Closed thirteen days before the first reading.
  feed(*room, tell(kNewJar, minutes(0)));
  for (int number = 0; number < 10; ++number) feed(*room, reading("s1", day(number), 20, 60));
  feed(*room, reading("s1", day(400), 20, 60));
  const auto kept = [&] {
    REQUIRE(room->commit());
    const auto reader = Reader::open(settings.history, {});
    REQUIRE(reader);
    return (*reader)->summary("s1", Quantity::humidity, instant_of(0), Instant::max()).readings;
  };
  CHECK(kept() == 11);
  CHECK(kept() == 11);
  feed(*room, tell("retire F-01 because \"used up\"", day(400)));
  (void)kept();
  CHECK(kept() == 1);
  const auto reader = Reader::open(settings.history, {});
  CHECK((*reader)->journal().size() == 2);
}

TEST_CASE("a warm shelf raises one alert that lists its jar, with a notice and a retained topic") {
  const TempFolder folder;
  auto room = open_room(room_settings(folder.path()));
  feed(*room, tell(kNewJar, minutes(0)));
  warm_up(*room, 0, 10);
  REQUIRE(room->commit());
  CHECK(sent_to(room->take_outgoing(), "torpor/cellar/notice").empty());
  warm_up(*room, 10, 12);
  CHECK(room->urgent());
  REQUIRE(room->commit());
  const auto messages = room->take_outgoing();
  const std::string notice = sent_to(messages, "torpor/cellar/notice");
  CHECK(std::count(notice.begin(), notice.end(), '\n') == 1);
  CHECK(notice.find("shelf-1") != std::string::npos);
  CHECK(notice.find("F-01") != std::string::npos);
  const std::string alert = sent_to(messages, "torpor/cellar/alert/1");
  CHECK(alert.find("\"warm\"") != std::string::npos);
  CHECK(alert.find("F-01") != std::string::npos);
}

TEST_CASE("an alert that has ended empties its retained topic") {
  const TempFolder folder;
  auto room = open_room(room_settings(folder.path()));
  warm_up(*room, 0, 12);
  for (int minute = 12; minute < 120; ++minute) {
    feed(*room, reading("s1", minutes(minute), 20.0, 60.0));
  }
  REQUIRE(room->commit());
  const auto messages = room->take_outgoing();
  const auto last = std::find_if(messages.rbegin(), messages.rend(), [](const auto& message) {
    return message.topic == "torpor/cellar/alert/1";
  });
  REQUIRE(last != messages.rend());
  CHECK(last->retain);
  CHECK(last->payload.empty());
}

TEST_CASE("a reading told twice is stored once; another value of the same moment conflicts") {
  const TempFolder folder;
  const auto settings = room_settings(folder.path());
  auto room = open_room(settings);
  feed(*room, reading("s1", minutes(1), 20.0, 60.0));
  feed(*room, reading("s1", minutes(1), 20.0, 60.0));
  REQUIRE(room->commit());
  feed(*room, reading("s1", minutes(1), 20.0, 60.0));  // now from the table, not from memory
  feed(*room, reading("s1", minutes(1), 21.0, 60.0));
  CHECK(room->readings().fresh == 2);
  CHECK(room->readings().known == 5);
  CHECK(room->readings().conflicting == 1);
  REQUIRE(room->commit());
  CHECK(outcome_of(settings, {}).readings.size() == 2);
}

TEST_CASE("a redelivered reading without a time of its own is dropped, also after a restart") {
  const TempFolder folder;
  const auto settings = room_settings(folder.path());
  auto room = open_room(settings);
  ReadingsRecord first = reading("n1", minutes(1), 20.0, 50.0);
  first.digest = 77;
  feed(*room, first);
  room.reset();
  room = open_room(settings);
  ReadingsRecord again = reading("n1", minutes(2), 20.0, 50.0);
  again.digest = 77;
  again.redelivered = true;
  feed(*room, again);
  again.redelivered = false;  // the same payload a minute later is a reading of its own
  feed(*room, again);
  REQUIRE(room->commit());
  CHECK(outcome_of(settings, {}).readings.size() == 4);
}

TEST_CASE("a repeated tell gets its stored answer and is recorded once") {
  const TempFolder folder;
  const auto settings = room_settings(folder.path());
  auto room = open_room(settings);
  feed(*room, tell(kNewJar, minutes(0), "once"));
  REQUIRE(room->commit());
  const std::string answer = sent_to(room->take_outgoing(), "torpor/cellar/answer");
  REQUIRE(!answer.empty());
  room.reset();
  room = open_room(settings);
  (void)room->take_outgoing();  // the first answer again: nobody acknowledged it
  feed(*room, tell(kNewJar, minutes(1), "once"));
  REQUIRE(room->commit());
  CHECK(sent_to(room->take_outgoing(), "torpor/cellar/answer") == answer);
  CHECK(outcome_of(settings, {}).journal.size() == 1);
}

TEST_CASE("another sentence under the same correlation data is no repeat") {
  const TempFolder folder;
  const auto settings = room_settings(folder.path());
  auto room = open_room(settings);
  feed(*room, tell(kNewJar, minutes(0), "1"));
  feed(*room, tell("F-01 all well", minutes(1), "1"));
  REQUIRE(room->commit());
  feed(*room, tell("F-01 all well", minutes(2), "1"));
  REQUIRE(room->commit());
  CHECK(outcome_of(settings, {}).journal.size() == 2);
}

TEST_CASE("an answer goes to a response topic of our own only") {
  const TempFolder folder;
  auto room = open_room(room_settings(folder.path()));
  TellRecord own = tell("ask jars", minutes(0), "a");
  own.response_topic = "torpor/cellar/answer/phone-3";
  TellRecord foreign = tell("ask jars", minutes(0), "b");
  foreign.response_topic = "house/lamp/set";
  // Nobody can publish to it, and the outbox would try for ever.
  TellRecord wild = tell("ask jars", minutes(0), "c");
  wild.response_topic = "torpor/cellar/answer/#";
  feed(*room, own);
  feed(*room, foreign);
  feed(*room, wild);
  REQUIRE(room->commit());
  const auto messages = room->take_outgoing();
  CHECK(!sent_to(messages, "torpor/cellar/answer/phone-3").empty());
  CHECK(!sent_to(messages, "torpor/cellar/answer").empty());
  CHECK(sent_to(messages, "house/lamp/set").empty());
  CHECK(sent_to(messages, "torpor/cellar/answer/#").empty());
  CHECK(std::count_if(messages.begin(), messages.end(), [](const OutboxMessage& each) {
          return each.topic == "torpor/cellar/answer";
        }) == 2);
}

TEST_CASE("an input that arrives before its predecessor waits for it") {
  const TempFolder folder;
  auto room = open_room(room_settings(folder.path()));
  InboxPayload first = reading("s1", minutes(1), 20.0, 60.0);
  InboxPayload second = reading("s1", minutes(2), 20.0, 60.0);
  const auto one = room->inbox().append(first);
  const auto two = room->inbox().append(second);
  REQUIRE(one);
  REQUIRE(two);
  room->accept({two->sequence, second});
  CHECK(room->readings().fresh == 0);
  room->accept({one->sequence, first});
  CHECK(room->readings().fresh == 4);
  CHECK(room->readings().late == 0);
}

TEST_CASE("a changed placement never re-tags the past") {
  const TempFolder folder;
  auto settings = room_settings(folder.path());
  {
    auto room = open_room(settings);
    feed(*room, reading("s1", minutes(5), 20.0, 60.0));
    REQUIRE(room->commit());
  }
  settings.settings.sensors[0].spec.place = "cellar/shelf-2";
  auto room = open_room(settings);
  REQUIRE(room->commit());
  auto reader = Reader::open(settings.history, settings.spool);
  REQUIRE(reader);
  std::vector<Placement> of_s1;
  for (auto& placement : (*reader)->placements()) {
    if (placement.spec.id == "s1") of_s1.push_back(placement);
  }
  REQUIRE(of_s1.size() == 2);
  CHECK(of_s1[0].spec.place == "cellar/shelf-1");
  CHECK(of_s1[0].from == instant_of(0));
  CHECK(of_s1[1].spec.place == "cellar/shelf-2");
  CHECK(of_s1[1].from == minutes(5));
}

TEST_CASE("a damaged journal page is set aside with one notice, and watching goes on") {
  const TempFolder folder;
  const auto settings = room_settings(folder.path());
  {
    auto room = open_room(settings);
    feed(*room, tell(kNewJar, minutes(0)));
    warm_up(*room, 0, 10);
    REQUIRE(room->commit());
  }
  std::int64_t page = 0;
  {
    const auto database = Database::open(settings.history, OpenMode::immutable);
    REQUIRE(database);
    page =
        (*database)->integer("SELECT rootpage FROM sqlite_schema WHERE name = 'journal'").value();
  }
  {
    std::fstream file(settings.history, std::ios::in | std::ios::out | std::ios::binary);
    file.seekp((page - 1) * 4096);
    file << std::string(4096, 'U');
  }
  auto room = open_room(settings);
  REQUIRE(room->commit());
  const std::string notices = sent_to(room->take_outgoing(), "torpor/cellar/notice");
  CHECK(notices.find("The history was damaged (") != std::string::npos);
  CHECK(notices.find("Lost: journal entry 1; ") != std::string::npos);
  CHECK_FALSE(room->history_fault());
  warm_up(*room, 10, 20);
  REQUIRE(room->commit());
  // The alert of before goes on under its number: the rules' state came over.
  auto reader = Reader::open(settings.history, settings.spool);
  REQUIRE(reader);
  REQUIRE((*reader)->alerts(true).size() == 1);
  CHECK((*reader)->alerts(true)[0].number == 1);
}

TEST_CASE("days that end are folded with the commits that follow") {
  const TempFolder folder;
  const auto settings = room_settings(folder.path());
  auto room = open_room(settings);
  for (int hour = 0; hour < 50; ++hour) {
    feed(*room, reading("s1", minutes(60 * hour), 20.0, 60.0));
    REQUIRE(room->commit());
  }
  const auto database = Database::open(settings.history, OpenMode::read_only);
  REQUIRE(database);
  // Both quantities of two days, the second an hour after it ended.
  CHECK((*database)->integer("SELECT count(*) FROM day") == 4);
  CHECK((*database)->integer("SELECT count(*) FROM reading") == 4);
}

TEST_CASE("a run killed at random moments leaves exactly what an undisturbed one leaves") {
  for (unsigned seed = 1; seed <= 25; ++seed) {
    CAPTURE(seed);
    std::mt19937 random(seed);
    const std::vector<InboxPayload> inputs = random_inputs(random);
    const TempFolder calm_folder, rough_folder;
    const Outcome calm = run(room_settings(calm_folder.path()), inputs, random, 0.01, 0.0);
    const Outcome rough = run(room_settings(rough_folder.path()), inputs, random, 0.1, 0.05);
    CHECK(calm.readings == rough.readings);
    CHECK(calm.alerts == rough.alerts);
    CHECK(calm.changes == rough.changes);
    CHECK(calm.journal == rough.journal);
    CHECK(calm.sent == rough.sent);
    CHECK(!calm.alerts.empty());
  }
}
