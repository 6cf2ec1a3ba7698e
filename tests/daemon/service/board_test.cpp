// What the service stands on: the disk.
#include <doctest/doctest.h>

#include "daemon/service/board.h"
#include "tests/daemon/temp_folder.h"

namespace torpor::daemon {
namespace {

TEST_CASE("the free share of the disk is said first, and again only when it has changed") {
  const tests::TempFolder folder;
  Board board(folder.path());
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
  Board board("/no/such/folder");
  CHECK_FALSE(board.changed_disk());
}

}  // namespace
}  // namespace torpor::daemon
