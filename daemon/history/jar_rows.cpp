#include "daemon/history/jar_rows.h"

namespace torpor::daemon {

tl::expected<void, Error> put_model_row(Database& database, std::string_view jar,
                                        std::string_view bytes) {
  auto statement = database.cached(
      "INSERT INTO jar_model (jar, bytes) VALUES (?1, ?2) "
      "ON CONFLICT (jar) DO UPDATE SET bytes = excluded.bytes");
  statement->bind_text(1, jar).bind_blob(2, bytes);
  return statement->run();
}

tl::expected<void, Error> remove_model_row(Database& database, std::string_view jar) {
  auto statement = database.cached("DELETE FROM jar_model WHERE jar = ?1");
  statement->bind_text(1, jar);
  return statement->run();
}

tl::expected<std::vector<StoredJarModel>, Error> read_model_rows(Database& database) {
  auto statement = database.cached("SELECT jar, bytes FROM jar_model ORDER BY jar");
  std::vector<StoredJarModel> models;
  while (true) {
    const auto row = statement->step();
    if (!row) return tl::unexpected(row.error());
    if (!*row) return models;
    models.push_back({statement->text(0), statement->text(1)});
  }
}

tl::expected<std::optional<std::string>, Error> read_model_row(Database& database,
                                                               std::string_view jar) {
  auto statement = database.cached("SELECT bytes FROM jar_model WHERE jar = ?1");
  statement->bind_text(1, jar);
  const auto row = statement->step();
  if (!row) return tl::unexpected(row.error());
  return *row ? std::optional(statement->text(0)) : std::nullopt;
}

tl::expected<void, Error> put_checkpoint_row(Database& database, std::string_view jar, Instant at,
                                             std::string_view bytes) {
  auto insert = database.cached(
      "INSERT INTO jar_checkpoint (jar, at_ms, bytes) VALUES (?1, ?2, ?3) "
      "ON CONFLICT (jar, at_ms) DO UPDATE SET bytes = excluded.bytes");
  insert->bind_text(1, jar).bind(2, unix_ms(at)).bind_blob(3, bytes);
  if (auto done = insert->run(); !done) return done;
  // The first of its month has none before it in that month, and stays.
  auto thin = database.cached(
      "DELETE FROM jar_checkpoint WHERE jar = ?1 AND at_ms < "
      "(SELECT max(at_ms) FROM jar_checkpoint WHERE jar = ?1) - ?2 AND EXISTS "
      "(SELECT 1 FROM jar_checkpoint AS earlier WHERE earlier.jar = ?1 "
      "AND earlier.at_ms < jar_checkpoint.at_ms AND earlier.at_ms >= "
      "unixepoch(jar_checkpoint.at_ms / 1000, 'unixepoch', 'start of month') * 1000)");
  thin->bind_text(1, jar).bind(2, std::int64_t{kCheckpointsKept.count()});
  return thin->run();
}

tl::expected<void, Error> remove_checkpoint_rows(Database& database, std::string_view jar,
                                                 Instant from) {
  auto statement = database.cached("DELETE FROM jar_checkpoint WHERE jar = ?1 AND at_ms >= ?2");
  statement->bind_text(1, jar).bind(2, unix_ms(from));
  return statement->run();
}

tl::expected<std::optional<StoredJarCheckpoint>, Error> read_checkpoint_before(Database& database,
                                                                               std::string_view jar,
                                                                               Instant at) {
  auto statement = database.cached(
      "SELECT at_ms, bytes FROM jar_checkpoint WHERE jar = ?1 AND at_ms <= ?2 "
      "ORDER BY at_ms DESC LIMIT 1");
  statement->bind_text(1, jar).bind(2, unix_ms(at));
  const auto row = statement->step();
  if (!row) return tl::unexpected(row.error());
  if (!*row) return std::optional<StoredJarCheckpoint>();
  return StoredJarCheckpoint{instant_of(statement->integer(0)), statement->text(1)};
}

tl::expected<void, Error> put_jar_day_row(Database& database, std::string_view jar,
                                          const StoredJarDay& day) {
  auto statement = database.cached(
      "INSERT INTO jar_day (jar, day, bytes) VALUES (?1, ?2, ?3) "
      "ON CONFLICT (jar, day) DO UPDATE SET bytes = excluded.bytes");
  statement->bind_text(1, jar).bind(2, day.day).bind_blob(3, day.bytes);
  return statement->run();
}

tl::expected<void, Error> remove_jar_day_rows(Database& database, std::string_view jar,
                                              std::int64_t first) {
  auto statement = database.cached("DELETE FROM jar_day WHERE jar = ?1 AND day >= ?2");
  statement->bind_text(1, jar).bind(2, first);
  return statement->run();
}

tl::expected<std::vector<StoredJarDay>, Error> read_jar_day_rows(Database& database,
                                                                 std::string_view jar,
                                                                 std::int64_t first,
                                                                 std::int64_t last) {
  auto statement = database.cached(
      "SELECT day, bytes FROM jar_day WHERE jar = ?1 AND day BETWEEN ?2 AND ?3 ORDER BY day");
  statement->bind_text(1, jar).bind(2, first).bind(3, last);
  std::vector<StoredJarDay> days;
  while (true) {
    const auto row = statement->step();
    if (!row) return tl::unexpected(row.error());
    if (!*row) return days;
    days.push_back({statement->integer(0), statement->text(1)});
  }
}

}  // namespace torpor::daemon
