#include "daemon/history/damaged_history.h"

#include <doctest/doctest.h>

#include <atomic>
#include <limits>
#include <map>
#include <optional>
#include <random>

#include "daemon/history/integrity_check.h"
#include "daemon/history/open_history.h"
#include "daemon/history/raw_rows.h"
#include "daemon/history/small_copy.h"
#include "daemon/history/sqlite.h"
#include "samples.h"
#include "test_files.h"

namespace torpor::daemon {
namespace {

namespace fs = std::filesystem;
constexpr std::size_t kPageBytes = 4096;
// Of the three days' readings, when the first two are folded.
constexpr std::uint64_t kRowsLeft = 3 * 1440 - 330 - 1440;
constexpr Instant kMuchLater = instant_of(std::numeric_limits<std::int64_t>::max());

// Some of everything, closed cleanly: the file alone holds it.
void fill_history(const fs::path& file) {
  const auto store = must(Store::open(file));
  must(store->begin());
  for (int minute = 0; minute < 3 * 1440; ++minute) {
    must(store->put_reading(
        temperature(20 + (minute * 7 % 13) * 0.01, kEvening + std::chrono::minutes(minute))));
  }
  for (std::uint64_t number = 1; number <= 200; ++number) {
    must(store->put_journal(
        {number, kEvening, kEvening, "Anna", "open B-07", "{\"act\":\"open\"}"}));
    must(store->put_alert({number, number % 2 == 0, std::string(150, 'a')}));
    must(store->put_alert_change({number, kEvening, "raised", std::string(150, 'a')}));
  }
  must(store->put_placement({{"s1",
                              "cellar",
                              "",
                              rules::Senses::air,
                              {Quantity::temperature},
                              std::chrono::seconds(60),
                              std::chrono::seconds(180)},
                             kEvening}));
  must(store->put_outbox({"12/raised", "torpor/cellar/notice", "warm", false, ""}));
  must(store->put_snapshot(44, std::string(3 * kPageBytes, 's')));
  must(store->put_jar_model("B-07", std::string(2 * kPageBytes, 'm')));
  must(store->put_jar_checkpoint("B-07", kEvening, std::string(300, 'm')));
  must(store->commit());
  REQUIRE(must(store->fold_days(kEvening + std::chrono::days(2), 10)) == 2);
}

std::size_t root_page(const fs::path& file, const std::string& table) {
  const auto database = must(Database::open(file, OpenMode::immutable));
  return static_cast<std::size_t>(
      must(database->integer("SELECT rootpage FROM sqlite_schema WHERE name = '" + table + "'")));
}

void overwrite_page(const fs::path& file, std::size_t page) {
  std::string bytes = file_bytes(file);
  REQUIRE(bytes.size() >= page * kPageBytes);
  bytes.replace((page - 1) * kPageBytes, kPageBytes, std::string(kPageBytes, '\x55'));
  write_bytes(file, bytes);
}

std::optional<std::string> damage_found(const fs::path& file) {
  std::optional<std::string> found;
  IntegrityCheck check(file, [&found](const Error& error) { found = error.text; });
  check.finish();
  return found;
}

HistoryPlace place_of(const fs::path& folder) {
  return {folder / "h", folder / "spool", folder / "state", {}, "cellar"};
}

TEST_CASE("a whole history is opened, and nothing is said") {
  const TempFolder scratch;
  fill_history(scratch / "h");
  const auto opened = must(open_history(place_of(scratch / ""), kEvening));
  CHECK(opened.trouble.empty());
  CHECK(opened.store->journal().size() == 200);
}

TEST_CASE("of a history with one bad page all comes over but what stood in that page") {
  const TempFolder scratch;
  fill_history(scratch / "whole");
  const std::size_t pages = file_bytes(scratch / "whole").size() / kPageBytes;
  std::uint64_t lost_pages = 0;
  for (std::size_t page = 1; page <= pages; ++page) {
    CAPTURE(page);
    const auto file = scratch / ("h" + std::to_string(page));
    fs::copy_file(scratch / "whole", file);
    overwrite_page(file, page);
    const auto salvaged = must(salvage(file, {}, file.string() + ".new"));
    const auto store = must(Store::open(file.string() + ".new"));
    CHECK_FALSE(store->fault());
    // A leaf holds at most 45 entries of these, and at most 26 alerts.
    CHECK(salvaged.journal.brought >= 200 - 90);
    CHECK(salvaged.alerts.brought >= 200 - 30);
    CHECK(salvaged.readings.brought + salvaged.readings.lost >= kRowsLeft - 330);
    const bool all = salvaged.journal.brought == 200 && salvaged.alerts.brought == 200 &&
                     salvaged.days.brought == 2 && salvaged.models.brought == 1 &&
                     salvaged.rules_state && salvaged.readings.brought == kRowsLeft;
    // Whatever is missing is said.
    CHECK((all || !lost_text(salvaged).empty()));
    CHECK(salvaged.journal.brought + salvaged.journal.lost == 200);
    lost_pages += lost_text(salvaged).empty() ? 0 : 1;
  }
  CHECK(lost_pages > pages / 2);  // inner pages and free ones cost nothing
}

TEST_CASE("a history cut by a twentieth loses what stood there, and the count says so") {
  const TempFolder scratch;
  const auto file = scratch / "h";
  fill_history(file);
  fs::resize_file(file, fs::file_size(file) * 95 / 100 / kPageBytes * kPageBytes);
  const auto opened = must(open_history(place_of(scratch / ""), kEvening));
  CHECK(opened.trouble.find("The history was damaged (") == 0);
  CHECK(opened.trouble.find("nothing was changed") == std::string::npos);
  CHECK(opened.trouble.find(file.string() + ".damaged-20260302T183000") != std::string::npos);
  CHECK(fs::exists(file.string() + ".damaged-20260302T183000"));
  CHECK(opened.store->journal().size() > 150);
  CHECK_FALSE(opened.store->fault());
}

TEST_CASE("what the damaged file has no more comes from the nightly copy") {
  const TempFolder scratch;
  const auto file = scratch / "h";
  fill_history(file);
  must(make_small_copy(file, "cellar", "2026-03-01", {}, copies_folder(file)));
  overwrite_page(file, root_page(file, "sensor"));
  // The last leaf of the journal's tree: its newest entries.
  const std::string bytes = file_bytes(file);
  const std::size_t root = root_page(file, "journal");
  const auto at = (root - 1) * kPageBytes + 8;  // the right-most child
  std::size_t leaf = 0;
  for (std::size_t i = 0; i < 4; ++i) leaf = leaf << 8 | static_cast<unsigned char>(bytes[at + i]);
  overwrite_page(file, leaf);
  auto opened = must(open_history(place_of(scratch / ""), kEvening));
  CHECK(opened.trouble.find("from the nightly copy") != std::string::npos);
  CHECK(opened.trouble.find("2026-03-01") != std::string::npos);
  CHECK(opened.store->journal().size() == 200);
  CHECK(opened.store->newest_measured() == kEvening + std::chrono::minutes(3 * 1440 - 1));
}

TEST_CASE("a history of which nothing can be read is set aside") {
  const TempFolder scratch;
  const auto file = scratch / "h";
  fill_history(file);
  std::string bytes = file_bytes(file);
  for (std::size_t at = 100; at < bytes.size(); ++at) bytes[at] = '\x55';
  write_bytes(file, bytes);
  const auto opened = must(open_history(place_of(scratch / ""), kEvening));
  CHECK(opened.trouble.find("Brought over into a new one: nothing.") != std::string::npos);
  CHECK(opened.store->snapshot().sequence == 0);
}

TEST_CASE("changes that a killed writer left in the log are read of a damaged file, too") {
  const TempFolder scratch;
  const auto file = scratch / "h";
  {
    const auto store = must(Store::open(scratch / "open"));
    must(store->begin());
    for (std::uint64_t number = 1; number <= 300; ++number) {
      must(store->put_journal({number, kEvening, kEvening, "Anna", "open B-07", "{}"}));
    }
    must(store->commit());
    fs::copy_file(scratch / "open", file);  // as kill -9 leaves it: all of it in the log
    fs::copy_file((scratch / "open").string() + "-wal", file.string() + "-wal");
  }
  REQUIRE(fs::file_size(file.string() + "-wal") > 10 * kPageBytes);
  const auto salvaged = must(salvage(file, {}, scratch / "new"));
  CHECK(salvaged.journal.brought == 300);
  CHECK(lost_text(salvaged).find("journal") == std::string::npos);
}

TEST_CASE("a bit flipped in the middle of the log is told: SQLite drops what follows in silence") {
  const TempFolder scratch;
  const auto file = scratch / "h";
  {
    const auto store = must(Store::open(scratch / "open"));
    for (std::uint64_t number = 1; number <= 20; ++number) {
      must(store->put_journal({number, kEvening, kEvening, "Anna", "open B-07", "{}"}));
    }
    fs::copy_file(scratch / "open", file);
    fs::copy_file((scratch / "open").string() + "-wal", file.string() + "-wal");
  }
  CHECK(commits_lost_in_log(file) == 0);
  std::string log = file_bytes(file.string() + "-wal");
  log[log.size() / 2] = static_cast<char>(log[log.size() / 2] ^ 4);
  write_bytes(file.string() + "-wal", log);
  CHECK(commits_lost_in_log(file) > 3);
  const auto opened = must(open_history(place_of(scratch / ""), kEvening));
  CHECK(opened.trouble.find("The end of the history's log was damaged: its last ") == 0);
  CHECK(file_bytes(file.string() + ".damaged-20260302T183000-wal") == log);
}

TEST_CASE("a file that is not a history of ours is refused and left as it is") {
  for (const std::string& bytes : {std::string("hello"), std::string(20000, 'x')}) {
    const TempFolder scratch;
    write_bytes(scratch / "h", bytes);
    const auto refused = open_history(place_of(scratch / ""), kEvening);
    REQUIRE_FALSE(refused);
    CHECK(refused.error().kind == ErrorKind::corrupt);
    CHECK(file_bytes(scratch / "h") == bytes);
  }
  const TempFolder scratch;
  {
    const auto other = must(Database::open(scratch / "h", OpenMode::create));
    must(other->execute("CREATE TABLE t (a); INSERT INTO t VALUES (1)"));
  }
  CHECK_FALSE(open_history(place_of(scratch / ""), kEvening));
}

TEST_CASE("a history that another process writes is not set aside") {
  const TempFolder scratch;
  const auto store = must(Store::open(scratch / "h"));
  CHECK(open_history(place_of(scratch / ""), kEvening).error().kind == ErrorKind::busy);
  CHECK(fs::exists(scratch / "h"));
}

TEST_CASE("a wrong number of the schema in the header is damage, not another version") {
  for (const char version : {'\x07', '\x02'}) {
    CAPTURE(static_cast<int>(version));
    const TempFolder scratch;
    fill_history(scratch / "h");
    std::string bytes = file_bytes(scratch / "h");
    REQUIRE(bytes[63] == '\x03');
    bytes[63] = version;
    write_bytes(scratch / "h", bytes);
    const auto opened = must(open_history(place_of(scratch / ""), kEvening));
    CHECK(opened.trouble.find("the number of its schema") != std::string::npos);
    CHECK(opened.store->journal().size() == 200);
  }
}

TEST_CASE("the integrity check finds nothing in a whole history, and damage where it is") {
  const TempFolder scratch;
  const auto file = scratch / "h";
  fill_history(file);
  CHECK_FALSE(damage_found(file));
  fs::copy_file(file, scratch / "blocks");
  {
    const auto database = must(Database::open(scratch / "blocks", OpenMode::create));
    must(database->execute("UPDATE day_column SET bytes = CAST(bytes || 'x' AS BLOB)"));
  }
  CHECK(damage_found(scratch / "blocks") ==
        (scratch / "blocks").string() + ": 2 blocks of readings are damaged");
  overwrite_page(file, root_page(file, "alert_change"));
  REQUIRE(damage_found(file));
  CHECK_FALSE(damage_found(scratch / "nowhere"));
}

TEST_CASE("the integrity check stops when it is no longer wanted") {
  const TempFolder scratch;
  fill_history(scratch / "h");
  std::atomic<bool> called = false;
  {
    const IntegrityCheck check(scratch / "h", [&called](const Error&) { called = true; });
  }
  CHECK_FALSE(called);
}

// What a reader makes of the file: how much it found, and whether it said that something is wrong.
struct Look {
  std::size_t entries = 0;
  bool fault = false;
};

Look look_at(const fs::path& file) {
  const auto reader = Reader::open(file, {});
  if (!reader) return {0, true};
  Look look;
  look.entries =
      (*reader)->journal().size() + (*reader)->alerts(false).size() +
      (*reader)->placements().size() + (*reader)->jar_models().size() +
      drain(*(*reader)->readings("s1", Quantity::temperature, instant_of(0), kMuchLater)).size();
  look.fault = (*reader)->fault().has_value();
  return look;
}

// In a page. Each is a whole look at the history: under a sanitizer half a second for one.
#ifdef TORPOR_SANITIZED
constexpr int kFlips = 4;
#else
constexpr int kFlips = 40;
#endif

TEST_CASE("a bit flipped in a page of any kind never makes a journal or a series look shorter") {
  const TempFolder scratch;
  const auto file = scratch / "h";
  fill_history(file);
  const std::string whole = file_bytes(file);
  const Look before = look_at(file);
  REQUIRE_FALSE(before.fault);
  REQUIRE(before.entries == 200 + 200 + 1 + 1 + 3 * 1440);

  // Page types of the SQLite file format, section 1.6: interior and leaf of index and table trees,
  // else overflow or free. Of each kind the first three pages.
  std::map<int, int> of_kind;
  std::mt19937 random(5);
  int flips = 0;
  for (std::size_t page = 0; page < whole.size() / kPageBytes; ++page) {
    const std::size_t begin = page * kPageBytes + (page == 0 ? 100 : 0);
    const auto first = static_cast<unsigned char>(whole[begin]);
    const int kind = first == 2 || first == 5 || first == 10 || first == 13 ? first : 0;
    if (++of_kind[kind] > 3) continue;
    for (int flip = 0; flip < kFlips; ++flip) {
      // Half in the page's own header and first pointers, half anywhere.
      const std::size_t reach = flip < kFlips / 2 ? 24 : kPageBytes - 100;
      const std::size_t bit = begin * 8 + random() % (reach * 8);
      std::string bytes = whole;
      bytes[bit / 8] = static_cast<char>(bytes[bit / 8] ^ (1 << (bit % 8)));
      write_bytes(file, bytes);
      const Look after = look_at(file);
      CAPTURE(page);
      CAPTURE(bit);
      const bool told = after.fault || after.entries >= before.entries;
      CHECK((told || damage_found(file)));
      ++flips;
    }
  }
  CHECK(of_kind.size() == 5);
  MESSAGE(flips, " flips");
}

}  // namespace
}  // namespace torpor::daemon
