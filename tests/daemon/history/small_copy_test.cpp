#include "daemon/history/small_copy.h"

#include <doctest/doctest.h>
#include <sys/stat.h>

#include "samples.h"
#include "test_files.h"

namespace torpor::daemon {
namespace {

namespace fs = std::filesystem;

void fill_small(const fs::path& file) {
  const auto store = must(Store::open(file));
  must(store->begin());
  must(store->put_reading(temperature(21, kEvening)));
  must(store->put_journal({1, kEvening, kEvening, "Anna", "open B-07", "{}"}));
  must(store->put_alert({3, true, "{}"}));
  must(store->put_jar_model("B-07", "model"));
  must(store->put_snapshot(44, "state"));
  must(store->commit());
}

TEST_CASE("a copy brings journal, alerts, models and the rules' state, and the configuration") {
  const TempFolder scratch;
  fill_small(scratch / "h");
  const std::vector<CopiedFile> configuration = {{"torpor.yaml", "storeroom: cellar\n"},
                                                 {"rules.yaml", "rules: {}\n"}};
  const fs::path copy = must(
      make_small_copy(scratch / "h", "cellar", "2026-03-02", configuration, scratch / "copies"));
  CHECK(copy == scratch / "copies" / "cellar-2026-03-02.copy.zst");
  struct stat status {};
  REQUIRE(::stat(copy.c_str(), &status) == 0);
  CHECK((status.st_mode & 0777) == 0600);
  CHECK(files_in(scratch / "copies").size() == 1);
  CHECK(is_small_copy(copy));
  CHECK_FALSE(is_small_copy(scratch / "h"));
  must(unpack_small_copy(copy, scratch / "back"));
  CHECK(copied_configuration(scratch / "back") == configuration);
  const auto store = must(Store::open(scratch / "back"));
  CHECK(store->journal().size() == 1);
  CHECK(store->alerts(true).size() == 1);
  CHECK(store->jar_models().size() == 1);
  CHECK(store->snapshot().sequence == 44);
  CHECK_FALSE(store->newest_measured());
}

TEST_CASE("a copy is made while a writer has the history open, as of its last commit") {
  const TempFolder scratch;
  const auto store = must(Store::open(scratch / "h"));
  must(store->put_journal({1, kEvening, kEvening, "Anna", "open B-07", "{}"}));
  must(store->begin());
  must(store->put_journal({2, kEvening, kEvening, "Anna", "open B-07", "{}"}));
  const auto copy =
      must(make_small_copy(scratch / "h", "cellar", "2026-03-02", {}, scratch / "copies"));
  must(store->commit());
  must(unpack_small_copy(copy, scratch / "back"));
  CHECK(must(Store::open(scratch / "back"))->journal().size() == 1);
}

TEST_CASE("a week of copies stays, the same day's is replaced, and others' are left alone") {
  const TempFolder scratch;
  fill_small(scratch / "h");
  fs::create_directory(scratch / "copies");
  write_bytes(scratch / "copies" / "cellar-2-2026-01-01.copy.zst", "another store room's");
  write_bytes(scratch / "copies" / "notes.txt", "mine");
  for (int day = 1; day <= 9; ++day) {
    const std::string name = "2026-03-0" + std::to_string(day);
    must(make_small_copy(scratch / "h", "cellar", name, {}, scratch / "copies"));
  }
  must(make_small_copy(scratch / "h", "cellar", "2026-03-09", {}, scratch / "copies"));
  const auto copies = small_copies(scratch / "copies", "cellar");
  REQUIRE(copies.size() == kCopiesKept);
  CHECK(copies.front().filename() == "cellar-2026-03-09.copy.zst");
  CHECK(copies.back().filename() == "cellar-2026-03-03.copy.zst");
  CHECK(files_in(scratch / "copies").size() == kCopiesKept + 2);
}

TEST_CASE("one flipped bit anywhere in a copy is found") {
  const TempFolder scratch;
  fill_small(scratch / "h");
  const auto copy =
      must(make_small_copy(scratch / "h", "cellar", "2026-03-02", {}, scratch / "copies"));
  const std::string whole = file_bytes(copy);
  must(unpack_small_copy(copy, scratch / "good"));
  const std::string good = file_bytes(scratch / "good");
  for (std::size_t at = 0; at < whole.size(); at += 1 + whole.size() / 200) {
    CAPTURE(at);
    std::string bytes = whole;
    bytes[at] = static_cast<char>(bytes[at] ^ 0x10);
    write_bytes(scratch / "damaged", bytes);
    fs::remove(scratch / "back");
    // Some bits of a frame mean nothing.
    const auto unpacked = unpack_small_copy(scratch / "damaged", scratch / "back");
    CHECK((!unpacked || file_bytes(scratch / "back") == good));
  }
  for (const std::size_t size : {std::size_t{0}, std::size_t{3}, whole.size() - 1}) {
    write_bytes(scratch / "damaged", whole.substr(0, size));
    fs::remove(scratch / "back");
    CHECK_FALSE(unpack_small_copy(scratch / "damaged", scratch / "back"));
  }
  CHECK(unpack_small_copy(scratch / "nowhere", scratch / "back").error().kind ==
        ErrorKind::not_found);
}

TEST_CASE("what is not there is not made by copying it") {
  const TempFolder scratch;
  CHECK(
      make_small_copy(scratch / "h", "cellar", "2026-03-02", {}, scratch / "copies").error().kind ==
      ErrorKind::not_found);
  CHECK_FALSE(fs::exists(scratch / "h"));
}

}  // namespace
}  // namespace torpor::daemon
