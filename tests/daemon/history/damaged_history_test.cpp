#include "daemon/history/damaged_history.h"

#include <doctest/doctest.h>

#include <atomic>
#include <limits>
#include <map>
#include <optional>
#include <random>

#include "daemon/history/integrity_check.h"
#include "daemon/history/sqlite.h"
#include "samples.h"
#include "test_files.h"

namespace torpor::daemon {
namespace {

namespace fs = std::filesystem;
constexpr std::size_t kPageBytes = 4096;
constexpr Instant kMuchLater = instant_of(std::numeric_limits<std::int64_t>::max());

// Some of everything, closed cleanly: the file alone holds it.
void fill_history(const fs::path& file) {
  const auto store = must(Store::open(file, false));
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

TEST_CASE("a whole history is opened, and nothing is replaced") {
  const TempFolder scratch;
  fill_history(scratch / "h");
  const auto opened = must(open_or_replace(scratch / "h", false, kEvening));
  CHECK_FALSE(opened.replaced);
  CHECK(opened.store->journal().size() == 200);
}

TEST_CASE("a damaged history is set aside whole, and what is whole of it comes over") {
  struct Row {
    const char* table;
    const char* brought_over;
    const char* lost;
  };
  const Row rows[] = {
      {"journal",
       "sensors' places, alerts, messages not yet delivered, state of the rules, jars' "
       "models",
       "journal"},
      {"alert",
       "journal, sensors' places, messages not yet delivered, state of the rules, jars' "
       "models",
       "alerts"},
      {"snapshot", "journal, sensors' places, alerts, messages not yet delivered, jars' models",
       "state of the rules"},
      {"reading",
       "journal, sensors' places, alerts, messages not yet delivered, state of the "
       "rules, jars' models",
       ""},
  };
  for (const Row& row : rows) {
    CAPTURE(row.table);
    const TempFolder scratch;
    const auto file = scratch / "h";
    fill_history(file);
    overwrite_page(file, root_page(file, row.table));
    const std::string damaged = file_bytes(file);
    auto opened = must(open_or_replace(file, false, kEvening));
    REQUIRE(opened.replaced);
    CHECK(opened.replaced->kept == scratch / "h.damaged-20260302T183000");
    CHECK(file_bytes(opened.replaced->kept) == damaged);
    CHECK(opened.replaced->brought_over == row.brought_over);
    CHECK(opened.replaced->lost == row.lost);
    CHECK(opened.store->journal().size() == (row.lost == std::string("journal") ? 0 : 200));
    CHECK_FALSE(opened.store->fault());
    // A second one from the same second takes another name.
    opened.store.reset();
    overwrite_page(file, root_page(file, "note"));
    overwrite_page(file, root_page(file, "alert"));
    CHECK(must(open_or_replace(file, false, kEvening)).replaced->kept ==
          scratch / "h.damaged-20260302T183000.2");
  }
}

TEST_CASE("a history of which nothing can be read is set aside") {
  const TempFolder scratch;
  const auto file = scratch / "h";
  fill_history(file);
  std::string bytes = file_bytes(file);
  for (std::size_t at = 100; at < bytes.size(); ++at) bytes[at] = '\x55';
  write_bytes(file, bytes);
  const auto opened = must(open_or_replace(file, false, kEvening));
  REQUIRE(opened.replaced);
  CHECK(opened.replaced->brought_over.empty());
  CHECK(opened.store->snapshot().sequence == 0);
}

TEST_CASE("a file that is not a history of ours is refused and left as it is") {
  for (const std::string& bytes : {std::string("hello"), std::string(20000, 'x')}) {
    const TempFolder scratch;
    write_bytes(scratch / "h", bytes);
    const auto refused = open_or_replace(scratch / "h", false, kEvening);
    REQUIRE_FALSE(refused);
    CHECK(refused.error().kind == ErrorKind::corrupt);
    CHECK(file_bytes(scratch / "h") == bytes);
  }
  const TempFolder scratch;
  {
    const auto other = must(Database::open(scratch / "h", OpenMode::create));
    must(other->execute("CREATE TABLE t (a); INSERT INTO t VALUES (1)"));
  }
  CHECK_FALSE(open_or_replace(scratch / "h", false, kEvening));
}

TEST_CASE("a history that another process writes is not set aside") {
  const TempFolder scratch;
  const auto store = must(Store::open(scratch / "h", false));
  CHECK(open_or_replace(scratch / "h", false, kEvening).error().kind == ErrorKind::busy);
  CHECK(fs::exists(scratch / "h"));
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
