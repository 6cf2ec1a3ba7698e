// Finished days as blocks, through the store and the reader: nothing above may notice them.
#include "daemon/history/day_rows.h"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <map>
#include <random>

#include "samples.h"
#include "test_files.h"

namespace torpor::daemon {
namespace {

using std::chrono::days;
using std::chrono::hours;
constexpr Instant kMonday = std::chrono::sys_days(std::chrono::year(2026) / 3 / 2);
constexpr Instant kFarAhead = instant_of(std::numeric_limits<std::int64_t>::max());
constexpr std::size_t kAllDays = 1000;

std::int64_t count_of(const std::filesystem::path& file, const char* table) {
  const auto database = must(Database::open(file, OpenMode::read_only));
  return must(database->integer(std::string("SELECT count(*) FROM ") + table));
}

void change(const std::filesystem::path& file, const std::string& sql) {
  must(must(Database::open(file, OpenMode::create))->execute(sql));
}

// Hourly temperatures of `count` days from Monday on, in one transaction.
void put_days(Store& store, int count) {
  must(store.begin());
  for (int hour = 0; hour < count * 24; ++hour) {
    must(store.put_reading(temperature(20 + hour * 0.01, kMonday + hours(hour))));
  }
  must(store.commit());
}

std::vector<Reading> temperatures_in(const std::filesystem::path& file,
                                     Instant from = instant_of(0), Instant to = kFarAhead) {
  const auto reader = must(Reader::open(file, {}));
  auto readings = drain(*reader->readings("s1", Quantity::temperature, from, to));
  REQUIRE_FALSE(reader->fault());
  return readings;
}

TEST_CASE("finished days become blocks, and readers see the same as before") {
  const TempFolder scratch;
  const auto file = scratch / "h";
  const auto store = must(Store::open(file));
  put_days(*store, 3);
  must(store->put_reading(reading("s2", Quantity::humidity, 60, kMonday)));
  const auto before = temperatures_in(file);
  REQUIRE(before.size() == 72);

  CHECK(must(store->fold_days(kMonday + days(1) - Duration(1), kAllDays)) == 0);
  CHECK(must(store->fold_days(kMonday + days(1), 1)) == 1);  // Monday of s1
  CHECK(must(store->fold_days(kMonday + days(2), kAllDays)) == 2);
  CHECK(must(store->fold_days(kMonday + days(2), kAllDays)) == 0);
  CHECK(count_of(file, "reading") == 24);
  CHECK(count_of(file, "day") == 3);
  CHECK(count_of(file, "day_column") == 3);

  CHECK(temperatures_in(file) == before);
  CHECK(temperatures_in(file, kMonday + hours(5), kMonday + hours(50)).size() == 45);
  CHECK(temperatures_in(file, kMonday + hours(5), kMonday + hours(6)).size() == 1);
  CHECK(temperatures_in(file, kMonday + hours(24), kMonday + hours(24)).empty());
  CHECK(temperatures_in(file, kMonday + hours(30), kMonday + hours(3)).empty());
  const auto reader = must(Reader::open(file, {}));
  CHECK(reader->known_sensors() == std::vector<std::string>{"s1", "s2"});
  CHECK(reader->newest_measured() == kMonday + hours(71));
  CHECK(store->newest_measured() == kMonday + hours(71));
  const auto last_before = [&](Instant moment) {
    return reader->last_before("s1", Quantity::temperature, moment);
  };
  CHECK_FALSE(last_before(kMonday));
  CHECK(last_before(kMonday + Duration(1)) == before[0]);
  CHECK(last_before(kMonday + hours(24)) == before[23]);
  CHECK(last_before(kMonday + hours(24) + Duration(1)) == before[24]);
  CHECK(last_before(kMonday + hours(48)) == before[47]);
  CHECK(last_before(kFarAhead) == before[71]);
  CHECK(reader->last_before("s2", Quantity::humidity, kFarAhead)->raw == 60);
  CHECK_FALSE(reader->fault());
}

TEST_CASE("a reading that stands in a block is known, or conflicts with it") {
  const TempFolder scratch;
  const auto store = must(Store::open(scratch / "h"));
  put_days(*store, 1);
  REQUIRE(must(store->fold_days(kMonday + days(1), kAllDays)) == 1);
  const Reading same = temperature(20.05, kMonday + hours(5));
  Reading other = same;
  other.raw = 20.06;
  Reading fresh = same;
  fresh.measured_at += Duration(1);
  CHECK(must(store->find_reading(same)) == Stored::known);
  CHECK(must(store->find_reading(other)) == Stored::conflicting);
  CHECK(must(store->find_reading(fresh)) == Stored::fresh);
  CHECK(must(store->put_reading(same)) == Stored::known);
  CHECK(must(store->put_reading(other)) == Stored::conflicting);
  CHECK(must(store->put_reading(fresh)) == Stored::fresh);
  CHECK(count_of(scratch / "h", "reading") == 1);
  CHECK(temperatures_in(scratch / "h").size() == 25);
}

TEST_CASE("a late reading reopens its day with the next one that is folded") {
  const TempFolder scratch;
  const auto file = scratch / "h";
  const auto store = must(Store::open(file));
  put_days(*store, 2);
  REQUIRE(must(store->fold_days(kMonday + days(1), kAllDays)) == 1);
  must(store->put_reading(temperature(5, kMonday + hours(3) + Duration(1))));
  const auto merged = temperatures_in(file);
  REQUIRE(merged.size() == 49);
  CHECK(merged[4].raw == 5);
  CHECK(must(store->fold_days(kMonday + days(1), kAllDays)) == 0);  // one is no reason
  CHECK(must(store->fold_days(kMonday + days(2), kAllDays)) == 2);
  CHECK(count_of(file, "reading") == 0);
  CHECK(count_of(file, "day_column") == 2);
  CHECK(temperatures_in(file) == merged);
}

TEST_CASE("many late readings are folded at once") {
  const TempFolder scratch;
  const auto file = scratch / "h";
  const auto store = must(Store::open(file));
  put_days(*store, 2);
  REQUIRE(must(store->fold_days(kMonday + days(2), kAllDays)) == 2);
  for (int second = 1; second <= 1000; ++second) {
    CHECK(must(store->fold_days(kMonday + days(2), kAllDays)) == 0);
    must(store->put_reading(temperature(5, kMonday - hours(24) + std::chrono::seconds(second))));
  }
  CHECK(must(store->fold_days(kMonday + days(2), kAllDays)) == 1);
  CHECK(temperatures_in(file).size() == 1048);
}

TEST_CASE("a summary is the same from blocks, from rows and from both") {
  const TempFolder scratch;
  const auto file = scratch / "h";
  const auto store = must(Store::open(file));
  put_days(*store, 4);
  Reading wrong = temperature(999, kMonday + hours(30) + Duration(1));
  wrong.marks = kOutOfRange;
  must(store->put_reading(wrong));
  struct Range {
    Instant from, to;
  };
  const Range ranges[] = {
      {instant_of(0), kMonday + days(9)},        {kMonday, kMonday + days(4)},
      {kMonday + hours(1), kMonday + hours(95)}, {kMonday + days(1), kMonday + days(2)},
      {kMonday + hours(7), kMonday + hours(8)},  {kMonday + days(2), kMonday + days(2)},
      {kMonday + days(3), kMonday + days(2)}};
  const auto summaries = [&] {
    const auto reader = must(Reader::open(file, {}));
    std::vector<ReadingSummary> all;
    for (const Range& range : ranges) {
      all.push_back(reader->summary("s1", Quantity::temperature, range.from, range.to));
      // Sums of the same numbers in another order may differ in the last digit.
      all.back().sum = std::round(all.back().sum * 1e6) / 1e6;
    }
    REQUIRE_FALSE(reader->fault());
    return all;
  };
  const auto from_rows = summaries();
  CHECK(from_rows[1].readings == 97);
  CHECK(from_rows[1].trusted == 96);
  CHECK(from_rows[1].highest->at == kMonday + hours(95));
  REQUIRE(must(store->fold_days(kMonday + days(3), kAllDays)) == 3);
  CHECK(summaries() == from_rows);
  must(store->put_reading(temperature(-40, kMonday + hours(26) + Duration(1))));
  CHECK(summaries()[3].lowest->value == -40);
  CHECK(summaries()[3].readings == 26);
}

TEST_CASE("a chart's buckets are the same from blocks, from rows and from both") {
  const TempFolder scratch;
  const auto file = scratch / "h";
  const auto store = must(Store::open(file));
  put_days(*store, 4);
  const auto buckets = [&](hours width) {
    const auto reader = must(Reader::open(file, {}));
    auto all = reader->summaries("s1", Quantity::temperature, kMonday - hours(5),
                                 kMonday + hours(91), width);
    for (ReadingSummary& bucket : all) bucket.sum = std::round(bucket.sum * 1e6) / 1e6;
    REQUIRE_FALSE(reader->fault());
    return all;
  };
  // Narrower than a day, a day that no block fills, wider, and all in one.
  const hours widths[] = {hours(1), hours(7), hours(24), hours(29), hours(96), hours(1000)};
  std::vector<std::vector<ReadingSummary>> from_rows;
  for (const hours width : widths) from_rows.push_back(buckets(width));
  CHECK(from_rows[0].size() == 96);
  CHECK(from_rows[0][4].readings == 0);
  CHECK(from_rows[0][5].first == ReadingSummary::Extreme{20.0, kMonday});
  CHECK(from_rows[3].size() == 4);
  CHECK(from_rows[4].size() == 1);
  REQUIRE(must(store->fold_days(kMonday + days(3), kAllDays)) == 3);
  for (std::size_t i = 0; i < std::size(widths); ++i) {
    CAPTURE(i);
    CHECK(buckets(widths[i]) == from_rows[i]);
  }
  // A spike that came late is in its bucket.
  must(store->put_reading(temperature(90, kMonday + hours(26) + Duration(1))));
  const auto with_spike = buckets(hours(29));
  CHECK(with_spike[1].highest->value == 90);
  CHECK(chart_points(with_spike[1]).size() <= 4);
  const auto reader = must(Reader::open(file, {}));
  CHECK(reader->summaries("s1", Quantity::temperature, kMonday, kMonday, hours(1)).empty());
  CHECK(reader->summaries("none", Quantity::temperature, kMonday, kMonday + hours(2), hours(1)) ==
        std::vector<ReadingSummary>(2));
}

TEST_CASE("a chart's points of a bucket stand in order of time, each moment once") {
  ReadingSummary bucket;
  CHECK(chart_points(bucket).empty());
  const auto add = [&bucket](double value, int hour) {
    bucket.add(temperature(value, kMonday + hours(hour)));
  };
  add(20, 0);
  CHECK(chart_points(bucket) == std::vector<ReadingSummary::Extreme>{{20, kMonday}});
  add(25, 1);
  add(15, 2);
  add(18, 3);
  CHECK(chart_points(bucket) == std::vector<ReadingSummary::Extreme>{{20, kMonday},
                                                                     {25, kMonday + hours(1)},
                                                                     {15, kMonday + hours(2)},
                                                                     {18, kMonday + hours(3)}});
}

TEST_CASE("whole folded days are summed up without reading their columns") {
  const TempFolder scratch;
  const auto file = scratch / "h";
  {
    const auto store = must(Store::open(file));
    put_days(*store, 3);
    REQUIRE(must(store->fold_days(kMonday + days(3), kAllDays)) == 3);
  }
  change(file, "DELETE FROM day_column");
  const auto reader = must(Reader::open(file, {}));
  CHECK(reader->summary("s1", Quantity::temperature, kMonday, kMonday + days(3)).readings == 72);
  for (const ReadingSummary& day :
       reader->summaries("s1", Quantity::temperature, kMonday, kMonday + days(3), days(1))) {
    CHECK(day.readings == 24);
  }
  CHECK_FALSE(reader->fault());
  CHECK(drain(*reader->readings("s1", Quantity::temperature, kMonday, kFarAhead)).empty());
  REQUIRE(reader->fault());
  CHECK(reader->fault()->text ==
        "the history's block of 2026-03-02 cannot be read; put back a backup");
}

TEST_CASE("a block with a changed byte is a fault, and keeps nothing else from being stored") {
  const TempFolder scratch;
  const auto file = scratch / "h";
  auto store = must(Store::open(file));
  put_days(*store, 2);
  REQUIRE(must(store->fold_days(kMonday + days(2), kAllDays)) == 2);
  store.reset();
  change(file,
         "UPDATE day_column SET bytes = CAST(substr(bytes, 1, 20) || x'00' || substr(bytes, 22) "
         "AS BLOB) WHERE position = 2");
  const auto reader = must(Reader::open(file, {}));
  CHECK(drain(*reader->readings("s1", Quantity::temperature, kMonday, kFarAhead)).size() == 24);
  CHECK(reader->fault()->kind == ErrorKind::corrupt);
  // What comes now is kept beside it, and other days are folded.
  store = must(Store::open(file));
  CHECK_FALSE(store->fault());
  CHECK(must(store->put_reading(temperature(1, kMonday + days(1) + Duration(1)))) == Stored::fresh);
  CHECK(store->fault()->kind == ErrorKind::corrupt);
  CHECK(must(store->put_reading(temperature(1, kMonday + Duration(1)))) == Stored::fresh);
  CHECK(must(store->fold_days(kMonday + days(2), 1)) == 1);
  CHECK(store->fold_days(kMonday + days(2), 1).error().kind == ErrorKind::corrupt);
  CHECK(count_of(file, "reading") == 1);
}

TEST_CASE("days that need not be kept go for good, whole, and nothing else does") {
  const TempFolder scratch;
  const auto file = scratch / "h";
  const auto store = must(Store::open(file));
  put_days(*store, 4);
  must(store->put_journal({1, kMonday, kMonday, "Anna", "note", "{}"}));
  REQUIRE(must(store->fold_days(kMonday + days(3), kAllDays)) == 3);
  CHECK(must(store->forget_days(kMonday + days(1) - Duration(1), kAllDays)) == 0);
  CHECK(must(store->forget_days(kMonday + days(2), 1)) == 1);
  CHECK(must(store->forget_days(kMonday + days(2), kAllDays)) == 1);
  CHECK(must(store->forget_days(kMonday + days(2), kAllDays)) == 0);
  CHECK(temperatures_in(file).front().measured_at == kMonday + days(2));
  CHECK(temperatures_in(file).size() == 48);
  CHECK(count_of(file, "day") == 1);
  CHECK(count_of(file, "day_column") == 1);
  CHECK(store->journal().size() == 1);
  // Whoever sends such a day again has it kept until the next time.
  CHECK(must(store->put_reading(temperature(20, kMonday))) == Stored::fresh);
}

TEST_CASE("a fold that is rolled back leaves everything as it was") {
  const TempFolder scratch;
  const auto file = scratch / "h";
  const auto store = must(Store::open(file));
  put_days(*store, 2);
  must(store->begin());
  const auto busy = store->fold_days(kMonday + days(2), kAllDays);
  REQUIRE_FALSE(busy);
  CHECK(busy.error().kind == ErrorKind::invalid);
  must(store->commit());
  CHECK(temperatures_in(file).size() == 48);
}

TEST_CASE("whatever is put and folded in whatever order, the first value of each moment is read") {
  std::mt19937 random(20260302);
  const auto pick = [&random](int from, int to) {
    return std::uniform_int_distribution<int>(from, to)(random);
  };
  for (int round = 0; round < 8; ++round) {
    CAPTURE(round);
    const TempFolder scratch;
    const auto file = scratch / "h";
    auto store = must(Store::open(file));
    std::map<Instant, Reading> expected;
    for (int step = 0; step < 300; ++step) {
      const int act = pick(0, 99);
      if (act < 3) {
        must(store->fold_days(kMonday + days(pick(0, 5)), static_cast<std::size_t>(pick(1, 3))));
      } else if (act < 5) {
        store.reset();
        store = must(Store::open(file));
      } else {
        const Reading next = temperature(pick(0, 100) / 10.0, kMonday + hours(pick(0, 119)));
        const auto kept = expected.find(next.measured_at);
        const Stored should = kept == expected.end()         ? Stored::fresh
                              : kept->second.raw == next.raw ? Stored::known
                                                             : Stored::conflicting;
        CHECK(must(store->find_reading(next)) == should);
        CHECK(must(store->put_reading(next)) == should);
        expected.emplace(next.measured_at, next);
      }
    }
    std::vector<Reading> in_order;
    for (const auto& [at, reading] : expected) in_order.push_back(reading);
    CHECK(temperatures_in(file) == in_order);
  }
}

}  // namespace
}  // namespace torpor::daemon
