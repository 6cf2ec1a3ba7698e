#include "daemon/history/jar_rows.h"

#include <doctest/doctest.h>

#include <limits>

#include "samples.h"
#include "test_files.h"

namespace torpor::daemon {
namespace {

using std::chrono::days;
using std::chrono::hours;
using std::chrono::sys_days;
using std::chrono::year;
constexpr Instant kMarchFirst = sys_days(year(2026) / 3 / 1);
constexpr Instant kLatest = instant_of(std::numeric_limits<std::int64_t>::max());

// The jar's checkpoints, oldest first, found as the store's callers find them.
std::vector<Instant> checkpoints(const Store& store, std::string_view jar) {
  std::vector<Instant> found;
  Instant at = kLatest;
  while (const auto checkpoint = store.jar_checkpoint_before(jar, at)) {
    found.insert(found.begin(), checkpoint->at);
    at = checkpoint->at - Duration(1);
  }
  REQUIRE_FALSE(store.fault());
  return found;
}

TEST_CASE("a jar has one model, the last one put, until it is removed") {
  const TempFolder scratch;
  const auto store = must(Store::open(scratch / "h"));
  must(store->put_jar_model("B-07", "first"));
  must(store->put_jar_model("B-02", {"\0\xff", 2}));
  must(store->put_jar_model("B-07", ""));
  const std::vector<StoredJarModel> both{{"B-02", {"\0\xff", 2}}, {"B-07", ""}};
  CHECK(store->jar_models() == both);
  CHECK(must(Reader::open(scratch / "h", {}))->jar_models() == both);
  CHECK(must(Reader::open(scratch / "h", {}))->jar_model(both[1].jar) == both[1].bytes);
  CHECK(must(Reader::open(scratch / "h", {}))->jar_model("no such jar") == std::nullopt);
  must(store->remove_jar_model("B-07"));
  must(store->remove_jar_model("B-09"));  // has none
  CHECK(store->jar_models() == std::vector<StoredJarModel>{both[0]});
}

TEST_CASE("models and checkpoints are committed with all else, or not at all") {
  const TempFolder scratch;
  const auto store = must(Store::open(scratch / "h"));
  must(store->put_jar_model("B-07", "kept"));
  must(store->begin());
  must(store->put_jar_model("B-07", "lost"));
  must(store->put_jar_checkpoint("B-07", kMarchFirst, "lost"));
  must(store->put_snapshot(7, "lost"));
  store->rollback();
  CHECK(store->jar_models() == std::vector<StoredJarModel>{{"B-07", "kept"}});
  CHECK(checkpoints(*store, "B-07").empty());
  CHECK(store->snapshot().sequence == 0);
}

TEST_CASE("the newest checkpoint at or before a moment is found, of that jar alone") {
  const TempFolder scratch;
  const auto store = must(Store::open(scratch / "h"));
  must(store->put_jar_checkpoint("B-07", kMarchFirst, "one"));
  must(store->put_jar_checkpoint("B-07", kMarchFirst + days(1), "two"));
  must(store->put_jar_checkpoint("B-07", kMarchFirst + days(1), "two again"));
  must(store->put_jar_checkpoint("B-08", kMarchFirst + hours(1), "other"));
  const auto reader = must(Reader::open(scratch / "h", {}));
  CHECK_FALSE(reader->jar_checkpoint_before("B-07", kMarchFirst - Duration(1)));
  CHECK(reader->jar_checkpoint_before("B-07", kMarchFirst) ==
        StoredJarCheckpoint{kMarchFirst, "one"});
  CHECK(reader->jar_checkpoint_before("B-07", kMarchFirst + days(1) - Duration(1))->bytes == "one");
  CHECK(reader->jar_checkpoint_before("B-07", kLatest) ==
        StoredJarCheckpoint{kMarchFirst + days(1), "two again"});
  CHECK_FALSE(reader->jar_checkpoint_before("B-09", kLatest));
}

TEST_CASE("checkpoints from a moment on are removed, that moment's with them") {
  const TempFolder scratch;
  const auto store = must(Store::open(scratch / "h"));
  for (int day = 0; day < 4; ++day) {
    must(store->put_jar_checkpoint("B-07", kMarchFirst + days(day), "m"));
    must(store->put_jar_checkpoint("B-08", kMarchFirst + days(day), "m"));
  }
  must(store->remove_jar_checkpoints("B-07", kMarchFirst + days(2)));
  CHECK(checkpoints(*store, "B-07") == std::vector<Instant>{kMarchFirst, kMarchFirst + days(1)});
  CHECK(checkpoints(*store, "B-08").size() == 4);
}

TEST_CASE("of old checkpoints the first of each month stays, of the last 35 days every one") {
  const TempFolder scratch;
  const auto store = must(Store::open(scratch / "h"));
  must(store->put_jar_checkpoint("B-08", kMarchFirst + hours(5), "m"));  // of another jar
  // From the afternoon of 10 January to that of 1 April 2026, one a day.
  const Instant begin = sys_days(year(2026) / 1 / 10) + hours(15);
  const Instant end = sys_days(year(2026) / 4 / 1) + hours(15);
  must(store->begin());
  for (Instant at = begin; at <= end; at += days(1)) {
    must(store->put_jar_checkpoint("B-07", at, "m"));
  }
  must(store->commit());
  std::vector<Instant> expected{begin, sys_days(year(2026) / 2 / 1) + hours(15)};
  for (Instant at = end - days(35); at <= end; at += days(1)) expected.push_back(at);
  CHECK(expected[2] == sys_days(year(2026) / 2 / 25) + hours(15));
  CHECK(checkpoints(*store, "B-07") == expected);
  // A moment later the eldest of the 35 days is beyond them.
  must(store->put_jar_checkpoint("B-07", end + Duration(1), "m"));
  expected.erase(expected.begin() + 2);
  expected.push_back(end + Duration(1));
  CHECK(checkpoints(*store, "B-07") == expected);
  CHECK(checkpoints(*store, "B-08").size() == 1);
}

TEST_CASE("days of a jar are replaced, found by their numbers and removed from one on") {
  const TempFolder scratch;
  const auto store = must(Store::open(scratch / "h"));
  for (const std::int64_t day : {-1, 0, 5, 6}) must(store->put_jar_day("B-07", {day, "d"}));
  must(store->put_jar_day("B-07", {5, {"\0\xff", 2}}));
  must(store->put_jar_day("B-08", {5, "other"}));
  const auto stored = [&](std::string_view jar, std::int64_t first, std::int64_t last) {
    return must(Reader::open(scratch / "h", {}))->jar_days(jar, first, last);
  };
  using Days = std::vector<StoredJarDay>;
  CHECK(stored("B-07", 0, 5) == Days{{0, "d"}, {5, {"\0\xff", 2}}});
  CHECK(stored("B-07", 1, 4).empty());
  CHECK(stored("B-09", -9, 9).empty());
  must(store->remove_jar_days("B-07", 5));
  CHECK(stored("B-07", -9, 9) == Days{{-1, "d"}, {0, "d"}});
  CHECK(stored("B-08", -9, 9) == Days{{5, "other"}});
}

}  // namespace
}  // namespace torpor::daemon
