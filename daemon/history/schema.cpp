#include "daemon/history/schema.h"

#include <fmt/format.h>

#include <array>

#include "daemon/history/store.h"

namespace torpor::daemon {
namespace {

// "tpor": marks an SQLite file as a history of ours (PRAGMA application_id). Stored.
constexpr std::int64_t kApplicationId = 0x74706f72;

// Version 0 (no tables) to 1. STRICT: SQLite refuses values of another type. `raw` is ANY, since a
// REAL column would store whole numbers as integers and lose the sign of -0.0.
constexpr const char* kToVersion1 = R"sql(
CREATE TABLE sensor (
  number INTEGER PRIMARY KEY,
  id     TEXT NOT NULL UNIQUE
) STRICT;
CREATE TABLE reading (
  sensor   INTEGER NOT NULL,
  quantity INTEGER NOT NULL,
  measured INTEGER NOT NULL,
  raw      ANY     NOT NULL,
  unit     INTEGER NOT NULL,
  delay    INTEGER NOT NULL,
  marks    INTEGER NOT NULL,
  PRIMARY KEY (sensor, quantity, measured)
) STRICT, WITHOUT ROWID;
CREATE TABLE placement (
  number   INTEGER PRIMARY KEY,
  sensor   TEXT NOT NULL,
  since    INTEGER NOT NULL,
  place    TEXT NOT NULL,
  jar      TEXT NOT NULL,
  senses   TEXT NOT NULL,
  measures TEXT NOT NULL,
  expected_interval INTEGER NOT NULL,
  hold     INTEGER NOT NULL,
  UNIQUE (sensor, since)
) STRICT;
CREATE TABLE journal (
  number   INTEGER PRIMARY KEY,
  happened INTEGER NOT NULL,
  recorded INTEGER NOT NULL,
  told_by  TEXT NOT NULL,
  sentence TEXT NOT NULL,
  act      TEXT NOT NULL
) STRICT;
CREATE TABLE alert (
  number INTEGER PRIMARY KEY,
  open   INTEGER NOT NULL,
  body   TEXT NOT NULL
) STRICT;
CREATE INDEX alert_open ON alert (number) WHERE open <> 0;
CREATE TABLE alert_change (
  position INTEGER PRIMARY KEY,
  alert    INTEGER NOT NULL,
  at       INTEGER NOT NULL,
  kind     TEXT NOT NULL,
  body     TEXT NOT NULL
) STRICT;
CREATE INDEX alert_change_of ON alert_change (alert, position);
CREATE TABLE outbox (
  position    INTEGER PRIMARY KEY AUTOINCREMENT,
  id          TEXT NOT NULL UNIQUE,
  topic       TEXT NOT NULL,
  payload     TEXT NOT NULL,
  retain      INTEGER NOT NULL,
  correlation BLOB NOT NULL
) STRICT;
CREATE TABLE answer (
  position    INTEGER PRIMARY KEY AUTOINCREMENT,
  correlation BLOB NOT NULL UNIQUE,
  answer      TEXT NOT NULL
) STRICT;
CREATE TABLE snapshot (
  only_one INTEGER PRIMARY KEY CHECK (only_one = 1),
  sequence INTEGER NOT NULL,
  bytes    BLOB NOT NULL
) STRICT;
CREATE TABLE note (
  name TEXT PRIMARY KEY,
  text TEXT NOT NULL
) STRICT, WITHOUT ROWID;
)sql";

// Version 1 to 2: the jars' models, and finished days as blocks. A day's numbers are offsets from
// its start and take four bytes, not six; its column stands in a table of its own, so that what is
// asked of the numbers alone does not read past the columns.
constexpr const char* kToVersion2 = R"sql(
CREATE TABLE jar_model (
  jar   TEXT PRIMARY KEY,
  bytes BLOB NOT NULL
) STRICT;
CREATE TABLE jar_checkpoint (
  jar   TEXT NOT NULL,
  at_ms INTEGER NOT NULL,
  bytes BLOB NOT NULL,
  PRIMARY KEY (jar, at_ms)
) STRICT, WITHOUT ROWID;
CREATE TABLE day (
  sensor     INTEGER NOT NULL,
  quantity   INTEGER NOT NULL,
  day        INTEGER NOT NULL,
  position   INTEGER NOT NULL,
  readings   INTEGER NOT NULL,
  first_at   INTEGER NOT NULL,
  last_at    INTEGER NOT NULL,
  trusted    INTEGER NOT NULL,
  sum        REAL    NOT NULL,
  first      REAL,
  first_trusted_at INTEGER,
  last       REAL,
  last_trusted_at  INTEGER,
  lowest     REAL,
  lowest_at  INTEGER,
  highest    REAL,
  highest_at INTEGER,
  PRIMARY KEY (sensor, quantity, day)
) STRICT, WITHOUT ROWID;
CREATE TABLE day_column (
  position INTEGER PRIMARY KEY,
  bytes    BLOB NOT NULL
) STRICT;
)sql";

// Version 2 to 3: the jars' days in short.
constexpr const char* kToVersion3 = R"sql(
CREATE TABLE jar_day (
  jar   TEXT NOT NULL,
  day   INTEGER NOT NULL,
  bytes BLOB NOT NULL,
  PRIMARY KEY (jar, day)
) STRICT, WITHOUT ROWID;
)sql";

// Element n brings version n to n + 1. Released ones are never edited: files made by them exist.
constexpr std::array<const char*, kSchemaVersion> kMigrations = {kToVersion1, kToVersion2,
                                                                 kToVersion3};

tl::unexpected<Error> not_ours(const std::filesystem::path& file, std::string_view what) {
  return tl::unexpected(
      Error{ErrorKind::corrupt,
            fmt::format("{} {}; nothing was changed. Name another file as history, or "
                        "put back a backup of this one",
                        file.string(), what)});
}

}  // namespace

tl::expected<SchemaState, Error> check_schema(Database& database,
                                              const std::filesystem::path& file) {
  const auto tables = database.integer("SELECT count(*) FROM sqlite_schema");
  if (!tables && tables.error().kind == ErrorKind::corrupt) {
    return not_ours(file,
                    fmt::format("is not a history that can be read ({})", tables.error().text));
  }
  if (!tables) return tl::unexpected(tables.error());
  const auto application = database.integer("PRAGMA application_id");
  if (!application) return tl::unexpected(application.error());
  const auto version = database.integer("PRAGMA user_version");
  if (!version) return tl::unexpected(version.error());

  if (*application == 0 && *version == 0 && *tables == 0) return SchemaState::empty;
  if (*application != kApplicationId) {
    return not_ours(file, "is an SQLite file of another program, not a history of torpor");
  }
  if (*version > kSchemaVersion) {
    return tl::unexpected(
        Error{ErrorKind::newer_version,
              fmt::format(
                  "{} was written by a newer torpor: its schema is version {}, this program knows "
                  "up to version {}; install the newer torpor again",
                  file.string(), *version, kSchemaVersion)});
  }
  return *version == kSchemaVersion ? SchemaState::current : SchemaState::older;
}

tl::expected<void, Error> bring_to_current(Database& database) {
  auto version = database.integer("PRAGMA user_version");
  if (!version) return tl::unexpected(version.error());
  for (auto next = static_cast<std::size_t>(*version); next < kMigrations.size(); ++next) {
    const std::string step = fmt::format(
        "BEGIN IMMEDIATE; {} PRAGMA application_id = {}; PRAGMA user_version = {}; "
        "COMMIT;",
        kMigrations[next], kApplicationId, next + 1);
    if (auto done = database.execute(step); !done) {
      const auto rolled_back = database.execute("ROLLBACK");
      static_cast<void>(rolled_back);  // SQLite may have rolled back by itself
      return done;
    }
  }
  return {};
}

}  // namespace torpor::daemon
