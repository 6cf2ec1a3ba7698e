#include "daemon/history/history_tables.h"

#include <fmt/format.h>

#include <functional>

namespace torpor::daemon {
namespace {

std::optional<std::vector<Quantity>> measures_listed(std::string_view list) {
  std::vector<Quantity> measures;
  while (!list.empty()) {
    const std::size_t comma = std::min(list.find(','), list.size());
    const std::optional<Quantity> quantity = quantity_named(list.substr(0, comma));
    if (!quantity) return std::nullopt;
    measures.push_back(*quantity);
    list.remove_prefix(std::min(comma + 1, list.size()));
  }
  return measures;
}

// Steps through the rows of a bound statement. `add` says false of a row that cannot be one of
// ours.
tl::expected<void, Error> for_each_row(Statement& statement, std::string_view table,
                                       const std::function<bool(const Statement&)>& add) {
  while (true) {
    const auto row = statement.step();
    if (!row) return tl::unexpected(row.error());
    if (!*row) return {};
    if (!add(statement)) {
      return tl::unexpected(Error{
          ErrorKind::corrupt,
          fmt::format("the history's table {} holds a row that cannot be read; put back a backup",
                      table)});
    }
  }
}

std::uint64_t number_of(const Statement& row, int column) {
  return static_cast<std::uint64_t>(row.integer(column));
}

// Of a query for at most one text.
tl::expected<std::optional<std::string>, Error> one_text(Statement& statement) {
  const auto row = statement.step();
  if (!row) return tl::unexpected(row.error());
  return *row ? std::optional<std::string>(statement.text(0)) : std::nullopt;
}

}  // namespace

std::string measures_list(const std::vector<Quantity>& measures) {
  std::string list;
  for (const Quantity quantity : measures) {
    if (!list.empty()) list += ',';
    list += facts(quantity).name;
  }
  return list;
}

tl::expected<std::vector<Placement>, Error> read_placements(Database& database) {
  // Of those from one moment the configuration's order decides who speaks: it is that of writing.
  auto statement = database.cached(
      "SELECT sensor, since, place, jar, senses, measures, expected_interval, hold FROM placement "
      "ORDER BY since, number");
  std::vector<Placement> placements;
  const auto done = for_each_row(*statement, "placement", [&](const Statement& row) {
    const auto senses = rules::senses_named(row.text(4));
    auto measures = measures_listed(row.text(5));
    if (!senses || !measures) return false;
    placements.push_back({{row.text(0), row.text(2), row.text(3), *senses, std::move(*measures),
                           Duration(row.integer(6)), Duration(row.integer(7))},
                          instant_of(row.integer(1))});
    return true;
  });
  if (!done) return tl::unexpected(done.error());
  return placements;
}

tl::expected<std::vector<JournalEntry>, Error> read_journal(Database& database) {
  auto statement = database.cached(
      "SELECT number, happened, recorded, told_by, sentence, act FROM journal ORDER BY number");
  std::vector<JournalEntry> journal;
  const auto done = for_each_row(*statement, "journal", [&](const Statement& row) {
    journal.push_back({number_of(row, 0), instant_of(row.integer(1)), instant_of(row.integer(2)),
                       row.text(3), row.text(4), row.text(5)});
    return true;
  });
  if (!done) return tl::unexpected(done.error());
  return journal;
}

tl::expected<std::vector<StoredAlert>, Error> read_alerts(Database& database, bool open_only) {
  auto statement =
      open_only
          ? database.cached("SELECT number, open, body FROM alert WHERE open <> 0 ORDER BY number")
          : database.cached("SELECT number, open, body FROM alert ORDER BY number");
  std::vector<StoredAlert> alerts;
  const auto done = for_each_row(*statement, "alert", [&](const Statement& row) {
    alerts.push_back({number_of(row, 0), row.integer(1) != 0, row.text(2)});
    return true;
  });
  if (!done) return tl::unexpected(done.error());
  return alerts;
}

tl::expected<std::vector<StoredAlertChange>, Error> read_alert_changes(Database& database,
                                                                       std::uint64_t number) {
  auto statement = database.cached(
      "SELECT alert, at, kind, body FROM alert_change WHERE alert = ?1 ORDER BY position");
  statement->bind(1, static_cast<std::int64_t>(number));
  std::vector<StoredAlertChange> changes;
  const auto done = for_each_row(*statement, "alert_change", [&](const Statement& row) {
    changes.push_back({number_of(row, 0), instant_of(row.integer(1)), row.text(2), row.text(3)});
    return true;
  });
  if (!done) return tl::unexpected(done.error());
  return changes;
}

tl::expected<std::vector<OutboxMessage>, Error> read_outbox(Database& database) {
  auto statement = database.cached(
      "SELECT id, topic, payload, retain, correlation FROM outbox ORDER BY position");
  std::vector<OutboxMessage> messages;
  const auto done = for_each_row(*statement, "outbox", [&](const Statement& row) {
    messages.push_back({row.text(0), row.text(1), row.text(2), row.integer(3) != 0, row.text(4)});
    return true;
  });
  if (!done) return tl::unexpected(done.error());
  return messages;
}

tl::expected<std::optional<std::string>, Error> read_answer(Database& database,
                                                            std::string_view correlation) {
  auto statement = database.cached("SELECT answer FROM answer WHERE correlation = ?1");
  statement->bind_blob(1, correlation);
  return one_text(*statement);
}

tl::expected<std::optional<std::string>, Error> read_note(Database& database,
                                                          std::string_view name) {
  auto statement = database.cached("SELECT text FROM note WHERE name = ?1");
  statement->bind_text(1, name);
  return one_text(*statement);
}

tl::expected<Store::Snapshot, Error> read_snapshot(Database& database) {
  auto statement = database.cached("SELECT sequence, bytes FROM snapshot");
  const auto row = statement->step();
  if (!row) return tl::unexpected(row.error());
  if (!*row) return Store::Snapshot{};
  return Store::Snapshot{number_of(*statement, 0), statement->text(1)};
}

tl::expected<void, Error> move_alert_rows(
    Database& database, Instant from, Duration by,
    const std::function<std::string(std::string_view)>& moved) {
  struct Row {
    std::int64_t key = 0;
    std::string body;
  };
  const auto rows_of = [&](std::string_view sql) -> tl::expected<std::vector<Row>, Error> {
    auto statement = database.prepare(sql);
    statement->bind(1, unix_ms(from));
    std::vector<Row> rows;
    while (true) {
      const auto row = statement->step();
      if (!row) return tl::unexpected(row.error());
      if (!*row) return rows;
      rows.push_back({statement->integer(0), statement->text(1)});
    }
  };
  const auto alerts = rows_of(
      "SELECT number, body FROM alert WHERE number IN (SELECT alert FROM alert_change WHERE at >= "
      "?1)");
  if (!alerts) return tl::unexpected(alerts.error());
  auto alert = database.prepare("UPDATE alert SET body = ?2 WHERE number = ?1");
  for (const Row& row : *alerts) {
    alert->bind(1, row.key).bind_text(2, moved(row.body));
    if (auto done = alert->run(); !done) return done;
  }
  const auto changes = rows_of("SELECT position, body FROM alert_change WHERE at >= ?1");
  if (!changes) return tl::unexpected(changes.error());
  auto change =
      database.prepare("UPDATE alert_change SET at = at + ?2, body = ?3 WHERE position = ?1");
  for (const Row& row : *changes) {
    change->bind(1, row.key).bind(2, std::int64_t{by.count()}).bind_text(3, moved(row.body));
    if (auto done = change->run(); !done) return done;
  }
  return {};
}

tl::expected<void, Error> move_placement_rows(Database& database, Instant from, Duration by) {
  // Two of one sensor on one moment: the later one holds.
  auto statement =
      database.prepare("UPDATE OR REPLACE placement SET since = since + ?2 WHERE since >= ?1");
  statement->bind(1, unix_ms(from)).bind(2, std::int64_t{by.count()});
  return statement->run();
}

}  // namespace torpor::daemon
