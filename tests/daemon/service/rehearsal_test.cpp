// What a rehearsal raises is what the service raised, for histories that came in order.
#include "daemon/service/rehearsal.h"

#include <doctest/doctest.h>

#include <random>

#include "daemon/report/gather.h"
#include "tests/daemon/service/test_room.h"
#include "tests/daemon/temp_folder.h"

namespace torpor::tests {
namespace {

using namespace daemon;

struct Played {
  std::vector<RehearsedAlert> raised, rehearsed;
  std::uint64_t readings = 0;
};

RehearsalRange all_time() { return {instant_of(0), minutes(100 * 1440)}; }

Played compare(const StoreroomSettings& settings, const RehearsalRange& range) {
  const auto reader = Reader::open(settings.history, settings.spool);
  REQUIRE(reader);
  const auto ledger = ledger_of(**reader);
  REQUIRE(ledger);
  auto raised = raised_alerts(**reader, range);
  REQUIRE(raised);
  Rehearsal rehearsal = rehearse(watch_settings(settings, ledger->calibrations()), **reader,
                                 *ledger, range, [](Instant) {});
  return {std::move(*raised), std::move(rehearsal.alerts), rehearsal.readings};
}

// Warm spells, silences and jars that are moved: all in order, nothing late.
void play(Storeroom& room, unsigned seed) {
  std::mt19937 random(seed);
  const auto chance = [&random](int one_in) {
    return random() % static_cast<unsigned>(one_in) == 0;
  };
  feed(room, reading("s1", minutes(0), 20.0, 60.0));
  feed(room, tell("new jar B-01 in cellar/shelf-1 stage IMO-2 rice 1200 g raw 560 g sugar 1250 g "
                  "vessel glass 3.8 l mouth 11 cm closed 2025-07-14T02:00",
                  minutes(0)));
  double warmth = 20.0;
  bool first_shelf = true;
  for (int minute = 1; minute < 3 * 1440; ++minute) {
    if (chance(200)) warmth = 18.0 + static_cast<double>(random() % 200) / 10.0;
    if (chance(300)) minute += 45;
    const double wobble = static_cast<double>(random() % 10) / 50.0;
    feed(room, reading(chance(2) ? "s1" : "s2", minutes(minute), warmth + wobble, 60.0 + wobble));
    if (chance(900)) {
      first_shelf = !first_shelf;
      feed(room, tell(first_shelf ? "move B-01 to cellar/shelf-1" : "move B-01 to cellar/shelf-2",
                      minutes(minute)));
    }
    if (chance(1000)) REQUIRE(room.commit());
  }
  REQUIRE(room.commit());
}

TEST_CASE("a rehearsal of the running book raises what the service raised, when it did") {
  std::size_t alerts = 0;
  for (unsigned seed = 1; seed <= 12; ++seed) {
    CAPTURE(seed);
    TempFolder folder;
    const StoreroomSettings settings = room_settings(folder.path());
    auto room = open_room(settings);
    play(*room, seed);
    const RehearsalRange range{instant_of(0), *room->newest_measured() + Duration(1)};
    const Played played = compare(settings, range);
    CHECK(played.rehearsed == played.raised);
    CHECK(played.readings > 3000);
    alerts += played.raised.size();
  }
  CHECK(alerts > 20);
}

TEST_CASE("only what was raised within the range is counted, and what stood before is not") {
  TempFolder folder;
  const StoreroomSettings settings = room_settings(folder.path());
  auto room = open_room(settings);
  play(*room, 1);
  const Played whole = compare(settings, all_time());
  REQUIRE(whole.rehearsed.size() >= 2);
  const Instant second = whole.rehearsed[1].raised;
  const Played rest = compare(settings, {second, all_time().to});
  REQUIRE_FALSE(rest.rehearsed.empty());
  CHECK(rest.rehearsed.front().raised == second);
  CHECK(compare(settings, {minutes(-10), whole.rehearsed[0].raised}).rehearsed.empty());
}

TEST_CASE("another book over the same history raises what it says") {
  TempFolder folder;
  StoreroomSettings settings = room_settings(folder.path());
  auto room = open_room(settings);
  play(*room, 2);
  settings.book.clear();
  const Played played = compare(settings, all_time());
  CHECK(played.rehearsed.empty());
  CHECK_FALSE(played.raised.empty());
}

}  // namespace
}  // namespace torpor::tests
