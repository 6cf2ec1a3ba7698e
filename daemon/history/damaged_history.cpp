#include "daemon/history/damaged_history.h"

#include <fmt/format.h>

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <fstream>
#include <memory>
#include <set>
#include <string_view>

#include "daemon/history/database_files.h"
#include "daemon/history/disk_error.h"
#include "daemon/history/history_tables.h"
#include "daemon/history/journal_checks.h"
#include "daemon/history/raw_rows.h"
#include "daemon/history/schema.h"
#include "daemon/history/sqlite.h"
#include "sensors/reading.h"
#include "sensors/rfc3339.h"

namespace torpor::daemon {
namespace {

namespace fs = std::filesystem;

// How the rows of a table look on the disk. STRICT tables let no other kinds in, and no two tables
// have the same.
//   n number of the row, stored as NULL    i integer    t text    b blob
//   r number    I integer or NULL    R number or NULL
struct TableShape {
  const char* table;
  bool keyed;  // without rowid
  std::string_view kinds;
  const char* put;
  bool small = true;  // of Extent::small, too
};

constexpr TableShape kShapes[] = {
    {"sensor", false, "nt", "INSERT OR IGNORE INTO sensor VALUES (?1, ?2)"},
    {"reading", true, "iiiriii", "INSERT OR IGNORE INTO reading VALUES (?1,?2,?3,?4,?5,?6,?7)",
     false},
    {"placement", false, "ntittttii",
     "INSERT OR IGNORE INTO placement VALUES (?1,?2,?3,?4,?5,?6,?7,?8,?9)"},
    {"journal", false, "niittt", "INSERT OR IGNORE INTO journal VALUES (?1,?2,?3,?4,?5,?6)"},
    // Of two forms of an alert the ended one is the later.
    {"alert", false, "nit",
     "INSERT INTO alert VALUES (?1,?2,?3) ON CONFLICT (number) DO UPDATE SET open = excluded.open, "
     "body = excluded.body WHERE excluded.open < open"},
    {"alert_change", false, "niitt", "INSERT OR IGNORE INTO alert_change VALUES (?1,?2,?3,?4,?5)",
     false},
    {"outbox", false, "ntttib", "INSERT OR IGNORE INTO outbox VALUES (?1,?2,?3,?4,?5,?6)"},
    {"answer", false, "nbt", "INSERT OR IGNORE INTO answer VALUES (?1,?2,?3)", false},
    {"snapshot", false, "nib",
     "INSERT INTO snapshot VALUES (?1,?2,?3) ON CONFLICT (only_one) DO UPDATE SET "
     "sequence = excluded.sequence, bytes = excluded.bytes WHERE excluded.sequence > sequence"},
    {"note", true, "tt", "INSERT OR IGNORE INTO note VALUES (?1,?2)"},
    {"jar_model", false, "tb", "INSERT OR IGNORE INTO jar_model VALUES (?1,?2)"},
    {"jar_checkpoint", true, "tib", "INSERT OR IGNORE INTO jar_checkpoint VALUES (?1,?2,?3)",
     false},
    {"jar_day", true, "tib", "INSERT OR IGNORE INTO jar_day VALUES (?1,?2,?3)", false},
    {"day", true, "iiiiiiiirRIRIRIRI",
     "INSERT OR IGNORE INTO day VALUES (?1,?2,?3,?4,?5,?6,?7,?8,?9,?10,?11,?12,?13,?14,?15,?16,"
     "?17)",
     false},
    {"day_column", false, "nb", "INSERT OR IGNORE INTO day_column VALUES (?1,?2)", false},
};

// A day's number and a moment in ms, which tell two tables of one shape apart: no day since 1970
// comes near this, and no moment of a reading lies below it.
constexpr std::int64_t kNoDay = 1'000'000;

bool fits(char kind, const RawValue& value) {
  const bool null = std::holds_alternative<std::monostate>(value);
  const bool whole = std::holds_alternative<std::int64_t>(value);
  const bool number = whole || std::holds_alternative<double>(value);
  switch (kind) {
    case 'n':
      return null;
    case 'i':
      return whole;
    case 'I':
      return whole || null;
    case 'r':
      return number;
    case 'R':
      return number || null;
    case 't':
      return std::holds_alternative<std::string>(value);
    default:
      return std::holds_alternative<RawBlob>(value);
  }
}

std::int64_t whole(const RawRow& row, std::size_t column) {
  return std::get<std::int64_t>(row.values[column]);
}

bool is_plausible(const TableShape& shape, const RawRow& row) {
  const std::string_view table = shape.table;
  if (table == "jar_checkpoint") return whole(row, 1) >= kNoDay;
  if (table == "jar_day") return whole(row, 1) < kNoDay;
  if (table == "snapshot") return row.rowid == 1;
  if (table != "reading" && table != "day") return true;
  const auto known = quantities();
  return std::any_of(known.begin(), known.end(), [&](const QuantityFacts& facts) {
    return static_cast<std::int64_t>(facts.quantity) == whole(row, 1);
  });
}

const TableShape* shape_of(const RawRow& row) {
  for (const TableShape& shape : kShapes) {
    if (shape.keyed != row.keyed || shape.kinds.size() != row.values.size()) continue;
    bool all = true;
    for (std::size_t i = 0; i < shape.kinds.size(); ++i) {
      all = all && fits(shape.kinds[i], row.values[i]);
    }
    if (all && is_plausible(shape, row)) return &shape;
  }
  return nullptr;  // of an index, or of SQLite's own tables
}

tl::expected<void, Error> put(Database& to, const TableShape& shape, const RawRow& row) {
  auto statement = to.cached(shape.put);
  for (std::size_t i = 0; i < row.values.size(); ++i) {
    const int parameter = static_cast<int>(i) + 1;
    const RawValue& value = row.values[i];
    if (shape.kinds[i] == 'n') {
      statement->bind(parameter, row.rowid);
    } else if (const auto* number = std::get_if<std::int64_t>(&value)) {
      statement->bind(parameter, *number);
    } else if (const auto* real = std::get_if<double>(&value)) {
      statement->bind(parameter, *real);
    } else if (const auto* text = std::get_if<std::string>(&value)) {
      statement->bind_text(parameter, *text);
    } else if (const auto* blob = std::get_if<RawBlob>(&value)) {
      statement->bind_blob(parameter, blob->bytes);
    }
  }
  auto done = statement->run();
  // A row that the table's own rules refuse was damaged.
  if (!done && done.error().kind == ErrorKind::invalid) return {};
  return done;
}

std::uint64_t count(Database& to, const std::string& what) {
  return static_cast<std::uint64_t>(to.integer("SELECT count(*) FROM " + what).value_or(0));
}

// Numbers below the highest that no row has.
std::uint64_t gaps(Database& to, const std::string& table) {
  const auto highest = to.integer("SELECT max(number) FROM " + table).value_or(0);
  const std::uint64_t there = count(to, table);
  return static_cast<std::uint64_t>(highest) > there ? static_cast<std::uint64_t>(highest) - there
                                                     : 0;
}

// What the copy has and the file has no more. Not the state of the rules: that of an earlier night
// would not know what the journal tells since.
tl::expected<void, Error> add_from_copy(Database& to, const fs::path& copy, Salvaged& salvaged) {
  const std::uint64_t entries = count(to, "journal");
  const std::uint64_t alerts = count(to, "alert");
  if (auto attached = to.attach(copy, "small"); !attached) return attached;
  auto done = to.execute(
      "INSERT OR IGNORE INTO sensor SELECT * FROM small.sensor;"
      "INSERT OR IGNORE INTO journal SELECT * FROM small.journal;"
      "INSERT OR IGNORE INTO alert SELECT * FROM small.alert;"
      "INSERT OR IGNORE INTO note SELECT * FROM small.note "
      "WHERE name NOT LIKE 'configuration-%';"
      // Those of before would date a sensor's moves anew.
      "INSERT INTO placement SELECT * FROM small.placement "
      "WHERE NOT EXISTS (SELECT 1 FROM placement)");
  const auto detached = to.execute("DETACH DATABASE small");
  if (done && !detached) done = detached;
  salvaged.journal.from_copy = count(to, "journal") - entries;
  salvaged.alerts.from_copy = count(to, "alert") - alerts;
  return done;
}

tl::expected<void, Error> put_in_order(Database& to, Salvaged& salvaged) {
  const std::uint64_t days = count(to, "day");
  // A summary without its readings would pass for them, and a column without its summary is of
  // nobody knows whom.
  auto done = to.execute(
      "DELETE FROM day WHERE position NOT IN (SELECT position FROM day_column);"
      "DELETE FROM day WHERE sensor NOT IN (SELECT number FROM sensor)");
  if (!done) return done;
  salvaged.days.brought = count(to, "day");
  salvaged.days.lost = days - salvaged.days.brought;
  const std::string without_day = "day_column WHERE position NOT IN (SELECT position FROM day)";
  salvaged.nameless = count(to, without_day);
  const std::string without_name = "reading WHERE sensor NOT IN (SELECT number FROM sensor)";
  salvaged.readings.lost = count(to, without_name);
  salvaged.nameless += salvaged.readings.lost;
  if (done = to.execute("DELETE FROM " + without_day + "; DELETE FROM " + without_name); !done) {
    return done;
  }
  salvaged.readings.brought = count(to, "reading");
  salvaged.models.brought = count(to, "jar_model");
  salvaged.alerts.brought = count(to, "alert");
  salvaged.alerts.lost = gaps(to, "alert");
  salvaged.rules_state = count(to, "snapshot") > 0;
  const auto journal = read_journal(to);
  if (!journal) return tl::unexpected(journal.error());
  salvaged.journal.brought = journal->size();
  const auto faults = check_entries(to, *journal);
  if (!faults) return tl::unexpected(faults.error());
  salvaged.lost_entries = faults->missing;
  salvaged.journal.lost = faults->missing.size();
  for (const std::uint64_t number : faults->missing) {
    if (auto put = put_lost(to, number); !put) return put;  // told here
  }
  return {};
}

tl::expected<void, Error> rename_if_there(const fs::path& from, const fs::path& to) {
  if (std::rename(from.c_str(), to.c_str()) == 0 || errno == ENOENT) return {};
  return tl::unexpected(disk_error(errno, "set aside", from));
}

}  // namespace

bool says_it_is_a_history(const fs::path& file) {
  // SQLite file format, section 1.3.
  std::string header(100, '\0');
  std::ifstream(file, std::ios::binary).read(header.data(), 100);
  return header.starts_with(std::string_view("SQLite format 3\0", 16)) &&
         header.compare(68, 4, "tpor") == 0;
}

std::string moment_in_a_name(std::int64_t unix_ms) {
  std::string when = to_rfc3339(instant_of(unix_ms));
  std::erase_if(when, [](char c) { return c == ':' || c == '-'; });
  return when.substr(0, 15);
}

tl::expected<fs::path, Error> set_aside(const fs::path& file, std::string_view why,
                                        const std::string& moment) {
  fs::path kept = file;
  kept += fmt::format(".{}-{}", why, moment);
  for (int next = 2; fs::exists(kept); ++next) {
    kept = file;
    kept += fmt::format(".{}-{}.{}", why, moment, next);
  }
  for (const char* beside : {"-wal", "-shm", ""}) {
    auto renamed = rename_if_there(file.string() + beside, kept.string() + beside);
    if (!renamed) return tl::unexpected(renamed.error());
  }
  return kept;
}

tl::expected<Salvaged, Error> salvage(const fs::path& damaged, const fs::path& copy,
                                      const fs::path& target, Extent extent) {
  auto to = Database::open(target, OpenMode::create);
  if (!to) return tl::unexpected(to.error());
  if (auto made = bring_to_current(**to); !made) return tl::unexpected(made.error());
  if (auto begun = (*to)->execute("BEGIN IMMEDIATE"); !begun) return tl::unexpected(begun.error());
  Salvaged salvaged;
  tl::expected<void, Error> written;
  // Two models of one jar: nobody can say which is the later, and both can be worked out anew.
  std::set<std::string> models, models_twice;
  const auto scan = scan_rows(damaged, [&](const RawRow& row) {
    const TableShape* shape = shape_of(row);
    if (shape == nullptr || !written || (extent == Extent::small && !shape->small)) return;
    if (std::string_view(shape->table) == "jar_model") {
      const std::string& jar = std::get<std::string>(row.values[0]);
      if (!models.insert(jar).second) models_twice.insert(jar);
    }
    written = put(**to, *shape, row);
  });
  if (!scan) return tl::unexpected(scan.error());
  if (!written) return tl::unexpected(written.error());
  salvaged.unreadable_pages = scan->unreadable_pages;
  salvaged.unreadable_rows = scan->unreadable_rows;
  for (const std::string& jar : models_twice) {
    auto statement = (*to)->cached("DELETE FROM jar_model WHERE jar = ?1");
    statement->bind_text(1, jar);
    if (auto done = statement->run(); !done) return tl::unexpected(done.error());
  }
  if (auto done = (*to)->execute("COMMIT"); !done) return tl::unexpected(done.error());
  if (!copy.empty()) {
    if (auto added = add_from_copy(**to, copy, salvaged); !added) {
      return tl::unexpected(added.error());
    }
  }
  if (auto begun = (*to)->execute("BEGIN IMMEDIATE"); !begun) return tl::unexpected(begun.error());
  if (auto done = put_in_order(**to, salvaged); !done) return tl::unexpected(done.error());
  if (auto done = (*to)->execute("COMMIT"); !done) return tl::unexpected(done.error());
  return salvaged;
}

tl::expected<Added, Error> add_later(const fs::path& from, const fs::path& history) {
  const ScratchDatabase scratch(history.string() + ".later");
  if (auto salvaged = salvage(from, {}, scratch.path()); !salvaged) {
    return tl::unexpected(salvaged.error());
  }
  auto to = Database::open(history, OpenMode::create);
  if (!to) return tl::unexpected(to.error());
  const std::uint64_t readings = count(**to, "reading");
  const std::uint64_t days = count(**to, "day");
  const std::uint64_t entries = count(**to, "journal");
  // The two may number their sensors and blocks otherwise.
  if (auto attached = (*to)->attach(scratch.path(), "old"); !attached) {
    return tl::unexpected(attached.error());
  }
  auto done = (*to)->execute(
      "BEGIN IMMEDIATE;"
      "CREATE TEMP TABLE place AS SELECT coalesce(max(position), 0) AS used FROM main.day_column;"
      "INSERT OR IGNORE INTO sensor (id) SELECT id FROM old.sensor;"
      "CREATE TEMP TABLE same AS SELECT old.sensor.number AS old, main.sensor.number AS new "
      "FROM old.sensor JOIN main.sensor USING (id);"
      "INSERT INTO day SELECT same.new, quantity, day, position + place.used, readings, first_at, "
      "last_at, trusted, sum, first, first_trusted_at, last, last_trusted_at, lowest, lowest_at, "
      "highest, highest_at FROM old.day AS d JOIN same ON same.old = d.sensor, place WHERE NOT "
      "EXISTS (SELECT 1 FROM main.day AS n WHERE n.sensor = same.new AND n.quantity = d.quantity "
      "AND n.day = d.day);"
      "INSERT INTO day_column SELECT position + place.used, bytes FROM old.day_column, place WHERE "
      "position + place.used IN (SELECT position FROM main.day);"
      "INSERT OR IGNORE INTO reading SELECT same.new, quantity, measured, raw, unit, delay, marks "
      "FROM old.reading AS r JOIN same ON same.old = r.sensor;"
      "INSERT OR IGNORE INTO alert_change SELECT * FROM old.alert_change;"
      "INSERT INTO journal SELECT * FROM old.journal WHERE number > "
      "(SELECT coalesce(max(number), 0) FROM main.journal);"
      "DROP TABLE temp.place; DROP TABLE temp.same; COMMIT");
  if (!done) static_cast<void>((*to)->execute("ROLLBACK"));  // what failed is said
  const auto detached = (*to)->execute("DETACH DATABASE old");
  if (done && !detached) done = detached;
  if (!done) return tl::unexpected(done.error());
  return Added{count(**to, "reading") - readings, count(**to, "day") - days,
               count(**to, "journal") - entries};
}

std::string brought_text(const Salvaged& salvaged) {
  std::string text;
  const auto add = [&text](const SavedRows& rows, std::string_view one, std::string_view many) {
    if (rows.brought == 0 && rows.lost == 0) return;
    const std::string_view what = rows.brought + rows.lost == 1 ? one : many;
    if (!text.empty()) text += ", ";
    const std::string of_all = rows.lost > 0
                                   ? fmt::format("{} of {}", rows.brought, rows.brought + rows.lost)
                                   : fmt::format("{}", rows.brought);
    text += fmt::format("{} {}", of_all, what);
    if (rows.from_copy > 0) text += fmt::format(" ({} from the nightly copy)", rows.from_copy);
  };
  add(salvaged.journal, "journal entry", "journal entries");
  add(salvaged.alerts, "alert", "alerts");
  add(salvaged.models, "jar's model", "jars' models");
  add(salvaged.days, "day of readings", "days of readings");
  add(salvaged.readings, "single reading", "single readings");
  return text.empty() ? "nothing" : text;
}

std::string lost_text(const Salvaged& salvaged) {
  std::string text;
  const auto add = [&text](const std::string& what) { text += (text.empty() ? "" : "; ") + what; };
  if (!salvaged.lost_entries.empty()) {
    constexpr std::size_t kNamed = 8;
    std::vector<std::uint64_t> named = salvaged.lost_entries;
    if (named.size() > kNamed) named.resize(kNamed);
    add(fmt::format("journal {} {}{}", salvaged.lost_entries.size() == 1 ? "entry" : "entries",
                    fmt::join(named, ", "),
                    salvaged.lost_entries.size() > kNamed
                        ? fmt::format(" and {} more", salvaged.lost_entries.size() - kNamed)
                        : ""));
  }
  if (salvaged.alerts.lost > 0) add(fmt::format("{} alerts", salvaged.alerts.lost));
  if (salvaged.days.lost > 0) add(fmt::format("{} days of readings", salvaged.days.lost));
  if (salvaged.nameless > 0) {
    add(fmt::format("{} readings or days of sensors that nobody can name", salvaged.nameless));
  }
  const auto unreadable = [&add](std::size_t count, std::string_view one) {
    if (count > 0) {
      add(fmt::format("what was in {} {}{} that cannot be read", count, one,
                      count == 1 ? "" : "s"));
    }
  };
  unreadable(salvaged.unreadable_pages, "page");
  unreadable(salvaged.unreadable_rows, "row");
  if (!salvaged.rules_state) {
    add("how far the rules were: alerts that were open are raised again");
  }
  return text;
}

}  // namespace torpor::daemon
