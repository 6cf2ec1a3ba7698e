#include "daemon/history/history_copy.h"

#include <doctest/doctest.h>
#include <signal.h>
#include <sys/resource.h>

#include <limits>

#include "samples.h"
#include "test_files.h"

namespace torpor::daemon {
namespace {

namespace fs = std::filesystem;

std::unique_ptr<Database> open_to_copy(const fs::path& file) {
  return must(Database::open(file, OpenMode::read_only));
}

std::size_t readings_in(const fs::path& file) {
  const auto reader = must(Reader::open(file, {}));
  const auto readings = drain(*reader->readings("s1", Quantity::temperature, instant_of(0),
                                                kEvening + std::chrono::days(1)));
  REQUIRE_FALSE(reader->fault());
  return readings.size();
}

TEST_CASE("a copy holds what was committed while the writer goes on, and is its owner's alone") {
  const TempFolder scratch;
  const auto store = must(Store::open(scratch / "h"));
  must(store->put_reading(temperature(21, kEvening)));
  must(store->begin());
  must(store->put_reading(temperature(22, kEvening + Duration(1))));
  must(copy_history(*open_to_copy(scratch / "h"), scratch / "copy"));
  must(store->commit());
  CHECK(fs::status(scratch / "copy").permissions() == fs::perms(0600));
  CHECK(readings_in(scratch / "copy") == 1);
  CHECK(readings_in(scratch / "h") == 2);
  CHECK_FALSE(fs::exists(scratch / "copy.part"));
}

TEST_CASE("a copy overwrites nothing, not even a link that leads nowhere") {
  const TempFolder scratch;
  must(Store::open(scratch / "h"));
  write_bytes(scratch / "copy", "precious");
  const auto refused = copy_history(*open_to_copy(scratch / "h"), scratch / "copy");
  REQUIRE_FALSE(refused);
  CHECK(refused.error().kind == ErrorKind::exists);
  CHECK(refused.error().text ==
        (scratch / "copy").string() + " exists already and is not overwritten; name another file");
  CHECK(file_bytes(scratch / "copy") == "precious");
  fs::create_symlink(scratch / "nowhere", scratch / "link");
  CHECK_FALSE(copy_history(*open_to_copy(scratch / "h"), scratch / "link"));
  CHECK_FALSE(fs::exists(scratch / "nowhere"));

  CHECK(must(keep_copy(*open_to_copy(scratch / "h"), scratch / "copy")) == scratch / "copy.2");
  CHECK(must(keep_copy(*open_to_copy(scratch / "h"), scratch / "copy")) == scratch / "copy.3");
}

TEST_CASE("a copy for which there is no room leaves nothing behind") {
  const TempFolder scratch;
  {
    const auto store = must(Store::open(scratch / "h"));
    must(store->put_snapshot(1, std::string(200'000, 'x')));
  }
  const auto old_handler = ::signal(SIGXFSZ, SIG_IGN);
  rlimit old{};
  ::getrlimit(RLIMIT_FSIZE, &old);
  const rlimit small{100'000, old.rlim_max};
  ::setrlimit(RLIMIT_FSIZE, &small);
  const auto failed = copy_history(*open_to_copy(scratch / "h"), scratch / "copy");
  ::setrlimit(RLIMIT_FSIZE, &old);
  ::signal(SIGXFSZ, old_handler);
  REQUIRE_FALSE(failed);
  CHECK(failed.error().text.starts_with("cannot copy the history to " +
                                        (scratch / "copy").string() + ": "));
  CHECK_FALSE(fs::exists(scratch / "copy"));
  CHECK_FALSE(fs::exists(scratch / "copy.part"));
}

TEST_CASE("a copy into a folder that is not there is refused with the reason") {
  const TempFolder scratch;
  must(Store::open(scratch / "h"));
  const auto failed = copy_history(*open_to_copy(scratch / "h"), scratch / "no/copy");
  REQUIRE_FALSE(failed);
  CHECK(failed.error().kind == ErrorKind::not_found);
}

}  // namespace
}  // namespace torpor::daemon
