// What the service stands on: the disk and the clock.
#include <doctest/doctest.h>

#include "daemon/board.h"
#include "tests/daemon/temp_folder.h"

namespace torpor::daemon {
namespace {

using std::chrono::hours;
using std::chrono::minutes;
using std::chrono::seconds;

TEST_CASE("a clock that is set is told from one that drifts, once, with its sign") {
  const Board::Wall wall{};
  const Board::Steady steady{};
  Board board("/", wall, steady);
  CHECK_FALSE(board.clock_step(wall + minutes(1), steady + minutes(1)));
  // 59 s fast within a minute is drift; a minute is a step.
  CHECK_FALSE(board.clock_step(wall + minutes(2) + seconds(59), steady + minutes(2)));
  CHECK(board.clock_step(wall + hours(25), steady + minutes(3)) ==
        Duration(hours(25) - minutes(3) - seconds(59)));
  CHECK_FALSE(board.clock_step(wall + hours(25) + minutes(1), steady + minutes(4)));
  CHECK(board.clock_step(wall + hours(1), steady + minutes(5)) ==
        Duration(hours(1) - hours(25) - minutes(2)));
}

TEST_CASE("the free share of the disk is said first, and again only when it has changed") {
  const tests::TempFolder folder;
  Board board(folder.path(), {}, {});
  const auto free = board.changed_disk();
  REQUIRE(free);
  CHECK(free->value() >= 0.0);
  CHECK(free->value() <= 100.0);
  const auto space = std::filesystem::space(folder.path());
  CHECK(free->value() == doctest::Approx(100.0 * static_cast<double>(space.available) /
                                         static_cast<double>(space.capacity))
                             .epsilon(0.02));
  CHECK_FALSE(board.changed_disk());
}

TEST_CASE("a disk that does not say how full it is says nothing") {
  Board board("/no/such/folder", {}, {});
  CHECK_FALSE(board.changed_disk());
}

}  // namespace
}  // namespace torpor::daemon
