#include "daemon/history/reading_rows.h"

#include <fmt/format.h>

#include <utility>

namespace torpor::daemon {
namespace {

// `delay` is received minus measured: a few bytes less per row than a second time. It wraps, as
// unsigned numbers do, so that any pair of times comes back.
std::int64_t delay_of(const Reading& reading) {
  return static_cast<std::int64_t>(static_cast<std::uint64_t>(unix_ms(reading.received_at)) -
                                   static_cast<std::uint64_t>(unix_ms(reading.measured_at)));
}

Instant received_after(std::int64_t measured, std::int64_t delay) {
  return instant_of(static_cast<std::int64_t>(static_cast<std::uint64_t>(measured) +
                                              static_cast<std::uint64_t>(delay)));
}

// Columns: measured, raw, unit, delay, marks. nullopt: not a row that put_row() writes.
std::optional<Reading> reading_of(const Statement& row, std::string_view sensor,
                                  Quantity quantity) {
  const std::int64_t unit = row.integer(2);
  const std::int64_t marks = row.integer(4);
  if (unit < 1 || unit > 4 || marks < 0 || marks > 255) return std::nullopt;
  Reading reading;
  reading.sensor = sensor;
  reading.quantity = quantity;
  reading.raw = row.real(1);
  reading.unit = static_cast<Unit>(unit);
  reading.measured_at = instant_of(row.integer(0));
  reading.received_at = received_after(row.integer(0), row.integer(3));
  reading.marks = static_cast<std::uint8_t>(marks);
  if (!measures(reading.unit, quantity)) return std::nullopt;
  return reading;
}

Error unreadable_row(std::string_view sensor) {
  return {ErrorKind::corrupt,
          fmt::format("the history holds a reading of {} that cannot be read; put back a backup",
                      sensor)};
}

class RowCursor final : public ReadingCursor {
 public:
  RowCursor(std::unique_ptr<Statement> statement, std::string sensor, Quantity quantity,
            FaultSink on_fault)
      : statement_(std::move(statement)),
        sensor_(std::move(sensor)),
        quantity_(quantity),
        on_fault_(std::move(on_fault)) {}

  std::optional<Reading> next() override {
    if (!statement_) return std::nullopt;
    const auto row = statement_->step();
    if (!row) return end_with(row.error());
    if (!*row) {
      statement_.reset();
      return std::nullopt;
    }
    std::optional<Reading> reading = reading_of(*statement_, sensor_, quantity_);
    if (!reading) return end_with(unreadable_row(sensor_));
    return reading;
  }

 private:
  std::nullopt_t end_with(const Error& error) {
    on_fault_(error);
    statement_.reset();
    return std::nullopt;
  }

  std::unique_ptr<Statement> statement_;  // null once the rows have ended
  const std::string sensor_;
  const Quantity quantity_;
  const FaultSink on_fault_;
};

void bind_key(Statement& statement, std::int64_t sensor_number, Quantity quantity) {
  statement.bind(1, sensor_number).bind(2, static_cast<std::int64_t>(quantity));
}

}  // namespace

tl::expected<std::optional<std::int64_t>, Error> SensorNumbers::find(Database& database,
                                                                     std::string_view id) {
  if (const auto known = numbers_.find(id); known != numbers_.end()) return known->second;
  auto statement = database.cached("SELECT number FROM sensor WHERE id = ?1");
  statement->bind_text(1, id);
  const auto row = statement->step();
  if (!row) return tl::unexpected(row.error());
  if (!*row) return std::optional<std::int64_t>();
  return numbers_.emplace(id, statement->integer(0)).first->second;
}

tl::expected<std::int64_t, Error> SensorNumbers::find_or_add(Database& database,
                                                             std::string_view id) {
  const auto found = find(database, id);
  if (!found) return tl::unexpected(found.error());
  if (*found) return **found;
  auto statement = database.cached("INSERT INTO sensor (id) VALUES (?1) RETURNING number");
  statement->bind_text(1, id);
  const auto row = statement->step();
  if (!row) return tl::unexpected(row.error());
  const std::int64_t number = statement->integer(0);
  // RETURNING hands the row out first; the insert is done when the statement has ended.
  if (const auto ended = statement->step(); !ended) return tl::unexpected(ended.error());
  numbers_.emplace(id, number);
  return number;
}

std::unique_ptr<ReadingCursor> row_cursor(Database& database, std::string sensor,
                                          std::int64_t sensor_number, Quantity quantity,
                                          Instant from, Instant to, FaultSink on_fault) {
  auto statement = database.prepare(
      "SELECT measured, raw, unit, delay, marks FROM reading WHERE sensor = ?1 AND quantity = ?2 "
      "AND measured >= ?3 AND measured < ?4 ORDER BY measured");
  bind_key(*statement, sensor_number, quantity);
  statement->bind(3, unix_ms(from)).bind(4, unix_ms(to));
  return std::make_unique<RowCursor>(std::move(statement), std::move(sensor), quantity,
                                     std::move(on_fault));
}

tl::expected<std::optional<Reading>, Error> last_row_before(Database& database,
                                                            std::string_view sensor,
                                                            std::int64_t sensor_number,
                                                            Quantity quantity, Instant before) {
  auto statement = database.cached(
      "SELECT measured, raw, unit, delay, marks FROM reading WHERE sensor = ?1 AND quantity = ?2 "
      "AND measured < ?3 ORDER BY measured DESC LIMIT 1");
  bind_key(*statement, sensor_number, quantity);
  statement->bind(3, unix_ms(before));
  const auto row = statement->step();
  if (!row) return tl::unexpected(row.error());
  if (!*row) return std::optional<Reading>();
  std::optional<Reading> reading = reading_of(*statement, sensor, quantity);
  if (!reading) return tl::unexpected(unreadable_row(sensor));
  return reading;
}

tl::expected<std::vector<std::string>, Error> sensors_with_rows(Database& database) {
  auto statement = database.cached(
      "SELECT id FROM sensor WHERE EXISTS (SELECT 1 FROM reading WHERE reading.sensor = "
      "sensor.number) ORDER BY id");
  return statement->texts();
}

tl::expected<std::optional<Instant>, Error> newest_row(Database& database) {
  // One seek to the end of each sensor's quantity instead of a walk over all rows.
  auto statement = database.cached(
      "SELECT (SELECT measured FROM reading WHERE reading.sensor = sensor.number AND quantity = ?1 "
      "ORDER BY measured DESC LIMIT 1) AS newest FROM sensor WHERE newest IS NOT NULL "
      "ORDER BY newest DESC LIMIT 1");
  std::optional<Instant> newest;
  for (const QuantityFacts& quantity : quantities()) {
    statement->reset();
    statement->bind(1, static_cast<std::int64_t>(quantity.quantity));
    const auto row = statement->step();
    if (!row) return tl::unexpected(row.error());
    if (!*row) continue;
    const Instant measured = instant_of(statement->integer(0));
    newest = newest ? std::max(*newest, measured) : measured;
  }
  return newest;
}

tl::expected<Stored, Error> put_row(Database& database, std::int64_t sensor_number,
                                    const Reading& reading) {
  auto statement = database.cached(
      "INSERT INTO reading (sensor, quantity, measured, raw, unit, delay, marks) "
      "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7) ON CONFLICT DO NOTHING");
  bind_key(*statement, sensor_number, reading.quantity);
  statement->bind(3, unix_ms(reading.measured_at))
      .bind(4, reading.raw)
      .bind(5, static_cast<std::int64_t>(reading.unit))
      .bind(6, delay_of(reading))
      .bind(7, static_cast<std::int64_t>(reading.marks));
  if (auto done = statement->run(); !done) return tl::unexpected(done.error());
  if (database.changes() > 0) return Stored::fresh;
  return compare_row(database, sensor_number, reading);
}

tl::expected<Stored, Error> compare_row(Database& database, std::int64_t sensor_number,
                                        const Reading& reading) {
  auto statement = database.cached(
      "SELECT raw, unit FROM reading WHERE sensor = ?1 AND quantity = ?2 AND measured = ?3");
  bind_key(*statement, sensor_number, reading.quantity);
  statement->bind(3, unix_ms(reading.measured_at));
  const auto row = statement->step();
  if (!row) return tl::unexpected(row.error());
  if (!*row) return Stored::fresh;
  const bool same = statement->real(0) == reading.raw &&
                    statement->integer(1) == static_cast<std::int64_t>(reading.unit);
  return same ? Stored::known : Stored::conflicting;
}

}  // namespace torpor::daemon
