#include "daemon/ledger/stays.h"

#include <doctest/doctest.h>

#include "tests/daemon/ledger/told_world.h"

namespace torpor::daemon {

using test::utc;

namespace {

const Instant kMarch1 = utc("2026-03-01T00:00:00Z");
const Instant kMarch5 = utc("2026-03-05T00:00:00Z");
const Instant kMarch9 = utc("2026-03-09T00:00:00Z");
constexpr Duration kMillisecond{1};

Jar jar_in(std::string place) {
  Jar jar;
  jar.made.jar = "B-07";
  jar.registered_at = kMarch1;
  jar.stays.push_back({std::move(place), kMarch1, std::nullopt});
  return jar;
}

}  // namespace

TEST_CASE("a move ends the stay and begins another") {
  Jar jar = jar_in("a");
  (void)record_move(jar, "b", kMarch5);
  CHECK(jar.stays == std::vector<Stay>{{"a", kMarch1, kMarch5}, {"b", kMarch5, std::nullopt}});
  CHECK(jar.stay_at(kMarch5 - kMillisecond)->place == "a");
  CHECK(jar.stay_at(kMarch5)->place == "b");
  CHECK(jar.stay_at(kMarch1 - kMillisecond) == nullptr);
}

TEST_CASE("a late move lasts until the next recorded one") {
  Jar jar = jar_in("a");
  (void)record_move(jar, "b", kMarch9);
  const Stay& stay = record_move(jar, "c", kMarch5);
  CHECK(stay == Stay{"c", kMarch5, kMarch9});
  CHECK(jar.stays ==
        std::vector<Stay>{{"a", kMarch1, kMarch5}, {"c", kMarch5, kMarch9}, {"b", kMarch9, {}}});
}

TEST_CASE("a move at the instant a stay begins corrects its place") {
  Jar jar = jar_in("a");
  (void)record_move(jar, "b", kMarch5);
  (void)record_move(jar, "c", kMarch5);
  CHECK(jar.stays == std::vector<Stay>{{"a", kMarch1, kMarch5}, {"c", kMarch5, std::nullopt}});
  (void)record_move(jar, "d", kMarch1);
  CHECK(jar.stays.front() == Stay{"d", kMarch1, kMarch5});
}

TEST_CASE("a move that cannot have happened is named") {
  Jar jar = jar_in("a");
  (void)record_move(jar, "b", kMarch5);
  CHECK(move_fault(jar, "c", kMarch1 - kMillisecond) == MoveFault::before_the_jar);
  CHECK_FALSE(move_fault(jar, "c", kMarch1));
  CHECK(move_fault(jar, "b", kMarch5) == MoveFault::already_there);
  CHECK_FALSE(move_fault(jar, "b", kMarch5 - kMillisecond));
  CHECK(move_fault(jar, "a", kMarch5 - kMillisecond) == MoveFault::already_there);

  jar.retired_at = kMarch9;
  jar.stays.back().to = kMarch9;
  CHECK(move_fault(jar, "c", kMarch9) == MoveFault::retired);
  CHECK_FALSE(move_fault(jar, "c", kMarch9 - kMillisecond));
}

TEST_CASE("a jar is closed when told, else when its first stay began") {
  Jar jar = jar_in("a");
  CHECK(jar.closed() == kMarch1);
  jar.made.closed = kMarch1 - std::chrono::hours(48);
  CHECK(jar.closed() == kMarch1 - std::chrono::hours(48));
}

}  // namespace torpor::daemon
