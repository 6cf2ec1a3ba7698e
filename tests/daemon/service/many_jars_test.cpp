// What is told, asked and shown of many jars at once is what it would be one by one.
#include <doctest/doctest.h>

#include <algorithm>
#include <set>
#include <string>
#include <vector>

#include "daemon/report/jar_standing_json.h"
#include "daemon/report/json.h"
#include "daemon/service/import_channel.h"
#include "daemon/service/jar_standings.h"
#include "tests/daemon/service/test_room.h"
#include "tests/daemon/temp_folder.h"

using namespace torpor;
using namespace torpor::daemon;
using namespace torpor::tests;

namespace {

TellRecord numbered(const std::string& sentence, std::size_t number) {
  return tell(sentence, minutes(1), "c" + std::to_string(number));
}

std::string new_jar(int number) {
  return "new jar M-" + std::to_string(number) + " in cellar/shelf-" +
         std::to_string(1 + number % 2) + " stage IMO-2 rice 1200 g raw 660 g sugar " +
         std::to_string(1150 + number % 100) + " g closed 2025-07-0" +
         std::to_string(1 + number % 9);
}

std::vector<InboxPayload> decoded(const std::string& frame) {
  auto records = decode_request(frame, minutes(1));
  REQUIRE(records);
  return std::move(*records);
}

std::string refused(const std::string& frame) {
  const auto records = decode_request(frame, minutes(1));
  REQUIRE_FALSE(records);
  return records.error().text;
}

}  // namespace

TEST_CASE("sentences told together leave what they leave one by one, refused ones included") {
  std::vector<TellRecord> batch;
  for (int i = 0; i < 30; ++i) batch.push_back(numbered(new_jar(i), batch.size()));
  batch.push_back(numbered("move M-3 to attic", batch.size()));
  batch.push_back(numbered(new_jar(7), batch.size()));
  batch.push_back(numbered("M-3 M-5 bubbling", batch.size()));
  batch.push_back(numbered("take 100 g from M-4 for \"heap\"", batch.size()));

  const TempFolder together, apart;
  const auto all_at_once = room_settings(together.path());
  const auto one_by_one = room_settings(apart.path());
  std::vector<std::string> answers, alone;
  {
    const auto room = open_room(all_at_once);
    feed(*room, reading("s1", minutes(0), 18.0, 60.0));
    const auto told = tell_into(*room, batch);
    REQUIRE(told);
    answers = *told;
  }
  {
    const auto room = open_room(one_by_one);
    feed(*room, reading("s1", minutes(0), 18.0, 60.0));
    for (const TellRecord& record : batch) {
      const auto told = tell_into(*room, {record});
      REQUIRE(told);
      alone.insert(alone.end(), told->begin(), told->end());
    }
  }
  CHECK(answers == alone);
  CHECK(answers[30].starts_with(kNotRecorded));
  CHECK(answers[31].starts_with(kNotRecorded));
  const auto left = [](const Gathering& gathering, const Ledger& ledger, const Reader& reader) {
    return std::tuple(reader.journal(), ledger.jars(),
                      jars_json(gathering.jars(), gathering.now()));
  };
  CHECK(seen_in(all_at_once, left) == seen_in(one_by_one, left));
}

TEST_CASE("a list of jars says of each what is said of it alone") {
  const TempFolder folder;
  const auto settings = room_settings(folder.path());
  const auto room = open_room(settings);
  std::vector<TellRecord> batch;
  for (int i = 0; i < 24; ++i) batch.push_back(numbered(new_jar(i), batch.size()));
  batch.push_back(numbered("split 200 g from M-3 into S-1 in cellar/shelf-2", batch.size()));
  REQUIRE(tell_into(*room, batch));
  for (int minute = 0; minute < 400; ++minute) {
    feed(*room, reading("s1", minutes(minute), 18.0 + minute % 7, 60.0 + minute % 5));
    if (minute % 3 == 0) feed(*room, reading("s2", minutes(minute), 14.0, 70.0));
  }
  feed(*room, tell("move M-4 to cellar/shelf-2", minutes(390)));
  REQUIRE(room->commit());

  const auto listed =
      seen_in(settings, [](const Gathering& gathering, const Ledger&, const Reader&) {
        return std::pair(gathering.jars(), gathering.places());
      });
  REQUIRE(listed.first.size() == 25);
  // A list without the models says the same.
  const auto rows = seen_in(settings, [](const Gathering& gathering, const Ledger&, const Reader&) {
    return gathering.jar_rows();
  });
  REQUIRE(rows.size() == listed.first.size());
  std::size_t compared = 0;
  for (std::size_t i = 0; i < rows.size(); ++i) {
    CAPTURE(rows[i].jar);
    const JarRow whole = listed.first[i];
    CHECK(rows[i].jar == whole.jar);
    CHECK(rows[i].stage == whole.stage);
    CHECK(rows[i].place == whole.place);
    CHECK(rows[i].alerts == whole.alerts);
    CHECK(rows[i].standing == whole.standing);
    CHECK(rows[i].air.temperature == whole.air.temperature);
    if (rows[i].standing.recomputing) continue;  // which nobody does here
    ++compared;
    CHECK(*rows[i].coverage_percent == doctest::Approx(*whole.coverage_percent).epsilon(0.02));
  }
  CHECK(compared > 0);
  for (const JarView& view : listed.first) {
    CAPTURE(view.jar);
    const std::string alone =
        seen_in(settings, [&](const Gathering& gathering, const Ledger& ledger, const Reader&) {
          return jar_json(gathering.jar(*ledger.find(view.jar)));
        });
    CHECK(jar_json(view) == alone);
    const auto at = std::find_if(listed.second.begin(), listed.second.end(),
                                 [&](const PlaceView& place) { return place.path == view.place; });
    REQUIRE(at != listed.second.end());
    CHECK(std::count(at->jars.begin(), at->jars.end(), view.jar) == 1);
    CHECK(at->air.temperature == view.air.temperature);
  }
}

TEST_CASE("weeks of readings within a moment leave no jar's words behind by more than an hour") {
  const TempFolder folder;
  const auto settings = room_settings(folder.path());
  const auto room = open_room(settings);
  feed(*room, tell(new_jar(1), minutes(0)));
  REQUIRE(room->commit());
  const Instant arrived = minutes(15 * 24 * 60);
  for (int quarter = 0; quarter < 14 * 96; ++quarter) {
    ReadingsRecord record = reading("s2", minutes(15 * quarter), 18.0, 60.0);
    record.received_at = arrived;
    for (Reading& each : record.readings) each.received_at = arrived;
    feed(*room, std::move(record));
    if (quarter % 96 == 95) REQUIRE(room->commit());
  }
  const auto reader = Reader::open(settings.history, settings.spool);
  REQUIRE(reader);
  const auto kept = jar_standing_from_json((*reader)->note(standing_note("M-1")).value_or(""));
  REQUIRE(kept);
  CHECK(*(*reader)->newest_measured() - kept->as_of < JarStandings::kEvery);
}

TEST_CASE("of many changed jars some are shown at a time, until all are, each once") {
  const TempFolder folder;
  const auto settings = room_settings(folder.path());
  const auto room = open_room(settings);
  const std::size_t jars = 2 * kJarsShownAtOnce + 20;
  std::vector<TellRecord> batch;
  for (std::size_t i = 0; i < jars; ++i) {
    batch.push_back(numbered(new_jar(static_cast<int>(i)), i));
  }
  REQUIRE(tell_into(*room, batch));
  room->show_all();
  std::multiset<std::string> topics;
  std::vector<std::size_t> counts;
  for (bool more = true; more && counts.size() < 9; more = room->shows_more()) {
    std::size_t count = 0;
    for (const auto& [topic, payload] : room->take_shown(minutes(2))) {
      if (!topic.starts_with("torpor/cellar/jar/")) continue;
      topics.insert(topic);
      ++count;
    }
    counts.push_back(count);
  }
  CHECK(counts == std::vector<std::size_t>{kJarsShownAtOnce, kJarsShownAtOnce, 20});
  CHECK(topics.size() == jars);
  CHECK(std::set(topics.begin(), topics.end()).size() == jars);
  CHECK(room->take_shown(minutes(2)).empty());
  CHECK_FALSE(room->shows_more());
}

TEST_CASE("a frame of many sentences comes over whole, and another is refused") {
  std::vector<TellRecord> batch;
  for (std::size_t i = 0; i < kLargestTellBatch; ++i) batch.push_back(numbered("ask todo", i));
  const std::vector<InboxPayload> records = decoded(encode_tells(batch));
  REQUIRE(records.size() == batch.size());
  for (std::size_t i = 0; i < batch.size(); ++i) CHECK(records[i] == InboxPayload(batch[i]));
  const InboxPayload air = reading("s1", minutes(1), 18.0, 60.0);
  CHECK(decoded(encode_import(air)) == std::vector<InboxPayload>{air});

  batch.push_back(numbered("one too many", batch.size()));
  CHECK(refused(encode_tells(batch)) == "the batch is not understood");
  CHECK(refused(encode_tells({})) == "the batch is empty");
  const std::string two = encode_tells({numbered("ask todo", 1), numbered("ask jars", 2)});
  for (std::size_t length = 2; length < two.size(); ++length) {
    CAPTURE(length);
    const auto cut = decode_request(std::string_view(two).substr(0, length), minutes(1));
    CHECK((!cut || cut->size() == 1));
  }
  // Readings among them.
  std::string mixed(1, '\0');
  const std::string inner = encode_import(air);
  for (unsigned shift = 0; shift < 32; shift += 8) {
    mixed.push_back(static_cast<char>(inner.size() >> shift & 0xFF));
  }
  CHECK(refused(mixed + inner) == "the batch is not understood");

  const std::vector<std::string> answers = {"B-01: dormant", "", std::string("a\0b", 3)};
  CHECK(decode_tell_reply(encode_tell_reply(answers)) == answers);
  CHECK(decode_tell_reply(encode_tell_reply(std::vector<std::string>{})) ==
        std::vector<std::string>{});
  const auto failed = decode_tell_reply(
      encode_tell_reply(tl::unexpected(Error{ErrorKind::io, "the disk is full"})));
  REQUIRE_FALSE(failed);
  CHECK(failed.error().text == "the disk is full");
}
