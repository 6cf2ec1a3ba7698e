#include "daemon/history/store.h"

#include <doctest/doctest.h>

#include <bit>
#include <cmath>
#include <limits>

#include "samples.h"
#include "test_files.h"

namespace torpor::daemon {
namespace {

std::unique_ptr<Store> open_store(const std::filesystem::path& file) {
  return must(Store::open(file));
}
std::unique_ptr<Reader> open_reader(const std::filesystem::path& file) {
  return must(Reader::open(file, {}));
}
std::vector<Reading> temperatures(const Reader& reader, Instant from = kNever,
                                  Instant to = kAlways) {
  return drain(*reader.readings("s1", Quantity::temperature, from, to));
}

rules::SensorSpec spec(std::string id, std::string place) {
  return {std::move(id),
          std::move(place),
          "",
          rules::Senses::air,
          {Quantity::temperature, Quantity::humidity},
          std::chrono::seconds(60),
          std::chrono::seconds(180)};
}

TEST_CASE("readings come back in order of measured-at, within [from, to)") {
  const TempFolder scratch;
  const auto store = open_store(scratch / "h.sqlite3");
  for (const int second : {3, 1, 2}) {
    CHECK(must(store->put_reading(temperature(20 + second, kEvening + Duration(second)))) ==
          Stored::fresh);
  }
  CHECK(must(store->put_reading(reading("s1", Quantity::humidity, 60, kEvening))) == Stored::fresh);
  CHECK(must(store->put_reading(reading("s2", Quantity::temperature, 9, kEvening))) ==
        Stored::fresh);

  const auto reader = open_reader(scratch / "h.sqlite3");
  const auto all = temperatures(*reader);
  REQUIRE(all.size() == 3);
  for (int i = 0; i < 3; ++i) {
    CHECK(all[static_cast<std::size_t>(i)] == temperature(21 + i, kEvening + Duration(1 + i)));
  }
  CHECK(temperatures(*reader, kEvening + Duration(2)).size() == 2);
  CHECK(temperatures(*reader, kEvening + Duration(1), kEvening + Duration(3)).size() == 2);
  CHECK(temperatures(*reader, kEvening + Duration(2), kEvening + Duration(2)).empty());
  CHECK(temperatures(*reader, kEvening + Duration(3), kEvening + Duration(1)).empty());
  CHECK(drain(*reader->readings("nobody", Quantity::temperature, kNever, kAlways)).empty());
  CHECK(reader->known_sensors() == std::vector<std::string>{"s1", "s2"});
  CHECK(reader->newest_measured() == kEvening + Duration(3));
  CHECK(store->newest_measured() == kEvening + Duration(3));
  CHECK_FALSE(reader->fault());
}

TEST_CASE("the last reading before a moment excludes that moment") {
  const TempFolder scratch;
  const auto store = open_store(scratch / "h.sqlite3");
  must(store->put_reading(temperature(21, kEvening)));
  must(store->put_reading(temperature(22, kEvening + Duration(10))));
  const auto reader = open_reader(scratch / "h.sqlite3");
  const auto before = [&](Duration later) {
    return reader->last_before("s1", Quantity::temperature, kEvening + later);
  };
  CHECK_FALSE(before(Duration(0)));
  CHECK(before(Duration(1)) == temperature(21, kEvening));
  CHECK(before(Duration(10)) == temperature(21, kEvening));
  CHECK(before(Duration(11)) == temperature(22, kEvening + Duration(10)));
  CHECK_FALSE(reader->last_before("s1", Quantity::humidity, kAlways));
  CHECK_FALSE(reader->last_before("s9", Quantity::temperature, kAlways));
}

TEST_CASE("the same key with the same value is known, with another it conflicts, the first stays") {
  const TempFolder scratch;
  const auto store = open_store(scratch / "h.sqlite3");
  const Reading first = temperature(21, kEvening);
  CHECK(must(store->find_reading(first)) == Stored::fresh);
  CHECK(must(store->put_reading(first)) == Stored::fresh);
  CHECK(must(store->find_reading(first)) == Stored::known);
  Reading again = first;
  again.received_at += Duration(1);
  again.marks = kImported;
  CHECK(must(store->put_reading(again)) == Stored::known);
  Reading other = first;
  other.raw = std::nextafter(first.raw, 100.0);
  CHECK(must(store->find_reading(other)) == Stored::conflicting);
  CHECK(must(store->put_reading(other)) == Stored::conflicting);
  other = first;
  other.unit = Unit::fahrenheit;
  CHECK(must(store->put_reading(other)) == Stored::conflicting);
  CHECK(temperatures(*open_reader(scratch / "h.sqlite3")) == std::vector<Reading>{first});
}

TEST_CASE("raw values keep every bit") {
  const TempFolder scratch;
  const auto store = open_store(scratch / "h.sqlite3");
  using Limits = std::numeric_limits<double>;
  const std::vector<double> values = {0.0,
                                      -0.0,
                                      Limits::denorm_min(),
                                      -Limits::denorm_min(),
                                      Limits::min(),
                                      Limits::max(),
                                      Limits::lowest(),
                                      0.1,
                                      1.0 / 3.0,
                                      21.0,
                                      -21.0,
                                      1e15,
                                      9007199254740993.0,
                                      Limits::epsilon()};
  for (std::size_t i = 0; i < values.size(); ++i) {
    must(store->put_reading(temperature(values[i], kEvening + Duration(i))));
  }
  const auto back = temperatures(*open_reader(scratch / "h.sqlite3"));
  REQUIRE(back.size() == values.size());
  for (std::size_t i = 0; i < values.size(); ++i) {
    CAPTURE(values[i]);
    CHECK(std::bit_cast<std::uint64_t>(back[i].raw) == std::bit_cast<std::uint64_t>(values[i]));
  }
}

TEST_CASE("a value that is not a number is refused") {
  const TempFolder scratch;
  const auto store = open_store(scratch / "h.sqlite3");
  for (const double raw :
       {std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::infinity()}) {
    const auto put = store->put_reading(temperature(raw, kEvening));
    REQUIRE_FALSE(put);
    CHECK(put.error().kind == ErrorKind::invalid);
  }
}

TEST_CASE("times, units and marks of a reading come back whatever they are") {
  const TempFolder scratch;
  const auto store = open_store(scratch / "h.sqlite3");
  Reading odd = temperature(-459.67, kNever);
  odd.unit = Unit::fahrenheit;
  odd.received_at = kAlways;
  odd.marks = 255;
  must(store->put_reading(odd));
  CHECK(drain(*open_reader(scratch / "h.sqlite3")
                   ->readings("s1", Quantity::temperature, kNever, kAlways)) ==
        std::vector<Reading>{odd});
}

TEST_CASE("a sensor's first placement holds from the beginning, a change from its own moment") {
  const TempFolder scratch;
  const auto store = open_store(scratch / "h.sqlite3");
  rules::SensorSpec probe{"p7",
                          "",
                          "B-07",
                          rules::Senses::culture,
                          {Quantity::temperature},
                          std::chrono::minutes(10),
                          std::chrono::minutes(30)};
  must(store->put_placement({spec("s2", "cellar/shelf-2"), kEvening}));
  must(store->put_placement({spec("s1", "cellar/shelf-1"), kEvening}));
  must(store->put_placement({probe, kEvening}));
  must(store->put_placement({spec("s2", "outside"), kEvening + Duration(5)}));
  const std::vector<Placement> expected = {{spec("s2", "cellar/shelf-2"), instant_of(0)},
                                           {spec("s1", "cellar/shelf-1"), instant_of(0)},
                                           {probe, instant_of(0)},
                                           {spec("s2", "outside"), kEvening + Duration(5)}};
  CHECK(store->placements() == expected);
  CHECK(open_reader(scratch / "h.sqlite3")->placements() == expected);

  must(store->put_placement({spec("s2", "cellar"), kEvening + Duration(5)}));
  CHECK(store->placements().size() == 4);
  CHECK(store->placements().back().spec.place == "cellar");
}

TEST_CASE("every way of sensing is stored") {
  const TempFolder scratch;
  const auto store = open_store(scratch / "h.sqlite3");
  using rules::Senses;
  for (const Senses senses : {Senses::air, Senses::headspace, Senses::glass, Senses::culture}) {
    rules::SensorSpec with = spec("s" + std::to_string(static_cast<int>(senses)), "cellar");
    with.senses = senses;
    with.measures.clear();
    must(store->put_placement({with, kEvening}));
    CHECK(store->placements().back().spec == with);
  }
}

TEST_CASE("the journal is append-only") {
  const TempFolder scratch;
  const auto store = open_store(scratch / "h.sqlite3");
  const JournalEntry first{1, kEvening, kEvening + Duration(1), "Anna", "open B-07", "{\"act\":1}"};
  const JournalEntry third{3, kEvening, kEvening, "", "", "{}"};
  must(store->put_journal(third));
  must(store->put_journal(first));
  JournalEntry changed = first;
  changed.sentence = "retire B-07";
  const auto refused = store->put_journal(changed);
  REQUIRE_FALSE(refused);
  CHECK(refused.error().kind == ErrorKind::exists);
  CHECK(refused.error().text == "journal entry 1 is written already");
  CHECK(store->journal() == std::vector<JournalEntry>{first, third});
  CHECK(open_reader(scratch / "h.sqlite3")->journal() == store->journal());
}

TEST_CASE("alerts keep their latest body, changes keep each") {
  const TempFolder scratch;
  const auto store = open_store(scratch / "h.sqlite3");
  must(store->put_alert({2, true, "b"}));
  must(store->put_alert({1, true, "a"}));
  must(store->put_alert({1, false, "a ended"}));
  must(store->put_alert_change({1, kEvening, "raised", "a"}));
  must(store->put_alert_change({2, kEvening, "raised", "b"}));
  must(store->put_alert_change({1, kEvening, "ended", "a ended"}));
  const auto reader = open_reader(scratch / "h.sqlite3");
  CHECK(reader->alerts(true) == std::vector<StoredAlert>{{2, true, "b"}});
  CHECK(reader->alerts(false) == std::vector<StoredAlert>{{1, false, "a ended"}, {2, true, "b"}});
  CHECK(store->alerts(true) == reader->alerts(true));
  CHECK(reader->alert_changes(1) ==
        std::vector<StoredAlertChange>{{1, kEvening, "raised", "a"},
                                       {1, kEvening, "ended", "a ended"}});
  CHECK(reader->alert_changes(9).empty());
}

TEST_CASE("the outbox keeps order and bytes, an id waits once") {
  const TempFolder scratch;
  const auto store = open_store(scratch / "h.sqlite3");
  const OutboxMessage first{"z", "torpor/c/notice", "Wärme: 27 °C", false, ""};
  const OutboxMessage second{"a", "torpor/c/answer", "yes", true, {"\0\xff\x80", 3}};
  must(store->put_outbox(first));
  must(store->put_outbox(second));
  must(store->put_outbox(first));
  CHECK(store->outbox() == std::vector<OutboxMessage>{first, second});
  must(store->remove_outbox("z"));
  must(store->remove_outbox("z"));
  CHECK(store->outbox() == std::vector<OutboxMessage>{second});
}

TEST_CASE("the last thousand answers are kept") {
  const TempFolder scratch;
  const auto store = open_store(scratch / "h.sqlite3");
  must(store->begin());
  for (int i = 0; i <= kAnswersKept; ++i) {
    must(store->put_answer("c" + std::to_string(i), "answer " + std::to_string(i)));
    // A repeated tell stores its answer again without pushing another one out.
    if (i == 1) must(store->put_answer("c1", "answer 1"));
  }
  must(store->commit());
  CHECK_FALSE(store->answer("c0"));
  CHECK(store->answer("c1") == "answer 1");
  CHECK(store->answer("c1000") == "answer 1000");
  CHECK_FALSE(store->answer(""));
}

TEST_CASE("snapshot and notes hold the latest") {
  const TempFolder scratch;
  const auto store = open_store(scratch / "h.sqlite3");
  CHECK(store->snapshot().sequence == 0);
  CHECK(store->snapshot().bytes.empty());
  const std::string bytes("\0x\xff", 3);
  must(store->put_snapshot(7, "old"));
  must(store->put_snapshot(8, bytes));
  CHECK(store->snapshot().sequence == 8);
  CHECK(store->snapshot().bytes == bytes);
  must(store->put_note("service", "{}"));
  must(store->put_note("service", "{\"state\":\"running\"}"));
  const auto reader = open_reader(scratch / "h.sqlite3");
  CHECK(reader->note("service") == "{\"state\":\"running\"}");
  CHECK_FALSE(reader->note("other"));
}

TEST_CASE("a rollback leaves everything as it was") {
  const TempFolder scratch;
  const auto store = open_store(scratch / "h.sqlite3");
  must(store->put_snapshot(1, "one"));
  must(store->begin());
  must(store->put_reading(temperature(21, kEvening)));
  must(store->put_journal({1, kEvening, kEvening, "", "", "{}"}));
  must(store->put_alert({1, true, "a"}));
  must(store->put_alert_change({1, kEvening, "raised", "a"}));
  must(store->put_outbox({"a", "t", "p", false, ""}));
  must(store->put_answer("c", "a"));
  must(store->put_note("n", "t"));
  must(store->put_placement({spec("s1", "cellar"), kEvening}));
  must(store->put_snapshot(2, "two"));
  CHECK(store->snapshot().sequence == 2);
  store->rollback();
  CHECK(store->snapshot().sequence == 1);
  CHECK(store->snapshot().bytes == "one");
  CHECK(store->journal().empty());
  CHECK(store->alerts(false).empty());
  CHECK(store->outbox().empty());
  CHECK(store->placements().empty());
  CHECK_FALSE(store->answer("c"));
  CHECK_FALSE(store->newest_measured());
  CHECK(open_reader(scratch / "h.sqlite3")->known_sensors().empty());

  // The sensor's number of the undone transaction is not used again by mistake.
  must(store->begin());
  must(store->put_reading(reading("s2", Quantity::temperature, 9, kEvening)));
  must(store->put_reading(temperature(21, kEvening)));
  must(store->commit());
  CHECK(temperatures(*open_reader(scratch / "h.sqlite3")) ==
        std::vector<Reading>{temperature(21, kEvening)});
}

TEST_CASE("transactions do not nest, and there must be one to commit") {
  const TempFolder scratch;
  const auto store = open_store(scratch / "h.sqlite3");
  CHECK(store->commit().error().kind == ErrorKind::invalid);
  store->rollback();
  must(store->begin());
  CHECK(store->begin().error().kind == ErrorKind::invalid);
  must(store->commit());
  must(store->begin());
  must(store->commit());
}

TEST_CASE("what was not committed when the store closed is gone") {
  const TempFolder scratch;
  {
    const auto store = open_store(scratch / "h.sqlite3");
    must(store->begin());
    must(store->put_note("n", "t"));
  }
  CHECK_FALSE(open_reader(scratch / "h.sqlite3")->note("n"));
}

TEST_CASE("names beside the history") {
  CHECK(inbox_folder("/var/lib/torpor/history.sqlite3") == "/var/lib/torpor/history.sqlite3.inbox");
  CHECK(lock_file("/var/lib/torpor/history.sqlite3") == "/var/lib/torpor/history.sqlite3.lock");
  CHECK(socket_file("/var/lib/torpor/history.sqlite3") == "/var/lib/torpor/history.sqlite3.socket");
}

}  // namespace
}  // namespace torpor::daemon
