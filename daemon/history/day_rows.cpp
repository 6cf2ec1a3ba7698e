#include "daemon/history/day_rows.h"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "sensors/rfc3339.h"

namespace torpor::daemon {
namespace {

// Two quantities of as many sensors as one import or one message is of, and to spare.
constexpr std::size_t kDaysRemembered = 16;

Error unreadable_day(std::int64_t day) {
  return {ErrorKind::corrupt,
          fmt::format("the history's block of {} cannot be read; put back a backup",
                      to_rfc3339(start_of_day(day)).substr(0, 10))};
}

void bind_series(Statement& statement, const SeriesKey& series) {
  statement.bind(1, series.sensor).bind(2, static_cast<std::int64_t>(series.quantity));
}

tl::expected<std::vector<Reading>, Error> decoded(std::int64_t day, std::string_view sensor,
                                                  Quantity quantity, std::string_view bytes) {
  auto readings = decode_day(day, sensor, quantity, bytes);
  if (!readings) return tl::unexpected(unreadable_day(day));
  return std::move(*readings);
}

struct StoredDay {
  std::int64_t position = 0;
  std::vector<Reading> readings;
};

// nullopt: that day is not folded.
tl::expected<std::optional<StoredDay>, Error> read_day(Database& database, const SeriesKey& series,
                                                       std::int64_t day) {
  auto statement = database.cached(
      "SELECT day.position, bytes FROM day LEFT JOIN day_column USING (position) "
      "WHERE sensor = ?1 AND quantity = ?2 AND day = ?3");
  bind_series(*statement, series);
  statement->bind(3, day);
  const auto row = statement->step();
  if (!row) return tl::unexpected(row.error());
  if (!*row) return std::optional<StoredDay>();
  auto readings = decoded(day, {}, series.quantity, statement->text(1));
  if (!readings) return tl::unexpected(readings.error());
  return StoredDay{statement->integer(0), std::move(*readings)};
}

tl::expected<std::vector<Reading>, Error> rows_between(Database& database, const SeriesKey& series,
                                                       Instant from, Instant to) {
  std::optional<Error> fault;
  const auto cursor = row_cursor(database, {}, series.sensor, series.quantity, from, to,
                                 [&fault](const Error& error) { fault = error; });
  std::vector<Reading> rows;
  while (auto next = cursor->next()) rows.push_back(std::move(*next));
  if (fault) return tl::unexpected(*fault);
  return rows;
}

// The block's readings were there first: where both have a moment, the block's stays.
std::vector<Reading> merged_with_block(std::vector<Reading> block, std::vector<Reading> rows) {
  std::vector<Reading> all = std::move(block);
  all.insert(all.end(), std::make_move_iterator(rows.begin()), std::make_move_iterator(rows.end()));
  std::ranges::stable_sort(all, {}, &Reading::measured_at);
  const auto again = std::ranges::unique(all, {}, &Reading::measured_at);
  all.erase(again.begin(), again.end());
  return all;
}

tl::expected<void, Error> write_summary(Database& database, const SeriesKey& series,
                                        std::int64_t day, std::int64_t position,
                                        const ReadingSummary& summary) {
  // Not cached: what is not bound must be NULL.
  auto statement = database.prepare(
      "INSERT INTO day (sensor, quantity, day, position, readings, first_at, last_at, trusted, "
      "sum, first, first_trusted_at, last, last_trusted_at, lowest, lowest_at, highest, "
      "highest_at) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, "
      "?16, ?17)");
  bind_series(*statement, series);
  const auto since_start = [day](Instant at) {
    return std::int64_t{(at - start_of_day(day)).count()};
  };
  statement->bind(3, day)
      .bind(4, position)
      .bind(5, static_cast<std::int64_t>(summary.readings))
      .bind(6, since_start(*summary.first_measured))
      .bind(7, since_start(*summary.last_measured))
      .bind(8, static_cast<std::int64_t>(summary.trusted))
      .bind(9, summary.sum);
  int parameter = 10;
  for (const auto* extreme : {&summary.first, &summary.last, &summary.lowest, &summary.highest}) {
    if (*extreme) {
      statement->bind(parameter, (*extreme)->value)
          .bind(parameter + 1, since_start((*extreme)->at));
    }
    parameter += 2;
  }
  return statement->run();
}

tl::expected<void, Error> remove_day(Database& database, const SeriesKey& series, std::int64_t day,
                                     std::int64_t position) {
  auto column = database.cached("DELETE FROM day_column WHERE position = ?1");
  column->bind(1, position);
  if (auto done = column->run(); !done) return done;
  auto header = database.cached("DELETE FROM day WHERE sensor = ?1 AND quantity = ?2 AND day = ?3");
  bind_series(*header, series);
  header->bind(3, day);
  return header->run();
}

tl::expected<void, Error> write_day(Database& database, const SeriesKey& series, std::int64_t day,
                                    const std::vector<Reading>& readings) {
  auto column = database.cached("INSERT INTO day_column (bytes) VALUES (?1) RETURNING position");
  column->bind_blob(1, encode_day(day, readings));
  const auto row = column->step();
  if (!row) return tl::unexpected(row.error());
  const std::int64_t position = column->integer(0);
  // RETURNING hands the row out first; the insert is done when the statement has ended.
  if (const auto ended = column->step(); !ended) return tl::unexpected(ended.error());
  ReadingSummary summary;
  for (const Reading& reading : readings) summary.add(reading);
  return write_summary(database, series, day, position, summary);
}

// False: the day has more readings than a block takes; its rows stay.
tl::expected<bool, Error> fold_day(Database& database, const SeriesKey& series, std::int64_t day) {
  auto rows = rows_between(database, series, start_of_day(day), start_of_day(day + 1));
  if (!rows) return tl::unexpected(rows.error());
  auto folded = read_day(database, series, day);
  if (!folded) return tl::unexpected(folded.error());
  const std::size_t before = *folded ? (*folded)->readings.size() : 0;
  if (before + rows->size() > kMostReadingsInBlock) return false;
  if (*folded) {
    if (auto done = remove_day(database, series, day, (*folded)->position); !done) {
      return tl::unexpected(done.error());
    }
    *rows = merged_with_block(std::move((*folded)->readings), std::move(*rows));
  }
  if (auto done = write_day(database, series, day, *rows); !done) {
    return tl::unexpected(done.error());
  }
  auto remove = database.cached(
      "DELETE FROM reading WHERE sensor = ?1 AND quantity = ?2 AND measured >= ?3 "
      "AND measured < ?4");
  bind_series(*remove, series);
  remove->bind(3, unix_ms(start_of_day(day))).bind(4, unix_ms(start_of_day(day + 1)));
  if (auto done = remove->run(); !done) return tl::unexpected(done.error());
  return true;
}

tl::expected<std::optional<Instant>, Error> first_row(Database& database, const SeriesKey& series,
                                                      Instant from, Instant to) {
  auto statement = database.cached(
      "SELECT measured FROM reading WHERE sensor = ?1 AND quantity = ?2 AND measured >= ?3 "
      "AND measured < ?4 ORDER BY measured LIMIT 1");
  bind_series(*statement, series);
  statement->bind(3, unix_ms(from)).bind(4, unix_ms(to));
  const auto row = statement->step();
  if (!row) return tl::unexpected(row.error());
  if (!*row) return std::optional<Instant>();
  return instant_of(statement->integer(0));
}

tl::expected<void, Error> unfold_days(Database& database, const SeriesKey& series,
                                      std::int64_t first) {
  auto days = database.prepare(
      "SELECT day FROM day WHERE sensor = ?1 AND quantity = ?2 AND day >= ?3 ORDER BY day");
  bind_series(*days, series);
  days->bind(3, first);
  std::vector<std::int64_t> found;
  while (true) {
    const auto row = days->step();
    if (!row) return tl::unexpected(row.error());
    if (!*row) break;
    found.push_back(days->integer(0));
  }
  for (const std::int64_t day : found) {
    auto stored = read_day(database, series, day);
    if (!stored && stored.error().kind == ErrorKind::corrupt) continue;  // it stays as it is
    if (!stored) return tl::unexpected(stored.error());
    if (!*stored) continue;
    if (auto done = remove_day(database, series, day, (*stored)->position); !done) return done;
    for (const Reading& reading : (*stored)->readings) {
      const auto put = put_row(database, series.sensor, reading);
      if (!put) return tl::unexpected(put.error());
    }
  }
  return {};
}

tl::expected<void, Error> move_series(Database& database, const SeriesKey& series, Instant from,
                                      Duration by) {
  auto rows = rows_between(database, series, from, Instant::max());
  if (!rows) return tl::unexpected(rows.error());
  std::erase_if(*rows, [](const Reading& each) { return (each.marks & kStampedOnArrival) == 0; });
  if (rows->empty()) return {};
  auto remove = database.prepare(
      "DELETE FROM reading WHERE sensor = ?1 AND quantity = ?2 AND measured >= ?3 "
      "AND (marks & ?4) <> 0");
  bind_series(*remove, series);
  remove->bind(3, unix_ms(from)).bind(4, std::int64_t{kStampedOnArrival});
  if (auto done = remove->run(); !done) return done;
  for (Reading& reading : *rows) {
    reading.measured_at += by;
    reading.received_at += by;
    while (true) {
      const auto put = put_row(database, series.sensor, reading);
      if (!put) return tl::unexpected(put.error());
      if (*put == Stored::fresh) break;
      reading.measured_at += Duration(1);
    }
  }
  return {};
}

struct DayPosition {
  std::int64_t day = 0;
  std::int64_t position = 0;
};

tl::expected<std::optional<DayPosition>, Error> oldest_day(Database& database,
                                                           const SeriesKey& series) {
  auto statement = database.cached(
      "SELECT day, position FROM day WHERE sensor = ?1 AND quantity = ?2 ORDER BY day LIMIT 1");
  bind_series(*statement, series);
  const auto row = statement->step();
  if (!row) return tl::unexpected(row.error());
  if (!*row) return std::optional<DayPosition>();
  return DayPosition{statement->integer(0), statement->integer(1)};
}

tl::expected<std::vector<SeriesKey>, Error> all_series(Database& database) {
  auto statement = database.cached("SELECT number FROM sensor ORDER BY number");
  std::vector<SeriesKey> series;
  while (true) {
    const auto row = statement->step();
    if (!row) return tl::unexpected(row.error());
    if (!*row) return series;
    for (const QuantityFacts& quantity : quantities()) {
      series.push_back({statement->integer(0), quantity.quantity});
    }
  }
}

class BlockCursor final : public ReadingCursor {
 public:
  BlockCursor(std::unique_ptr<Statement> days, std::string sensor, Quantity quantity, Instant from,
              Instant to, FaultSink on_fault)
      : days_(std::move(days)),
        sensor_(std::move(sensor)),
        quantity_(quantity),
        from_(from),
        to_(to),
        on_fault_(std::move(on_fault)) {}

  std::optional<Reading> next() override {
    while (next_ == readings_.size() || readings_[next_].measured_at < from_) {
      if (next_ < readings_.size()) {
        ++next_;
      } else if (!open_next_day()) {
        return std::nullopt;
      }
    }
    if (readings_[next_].measured_at >= to_) return std::nullopt;
    return std::move(readings_[next_++]);
  }

 private:
  bool open_next_day() {
    if (!days_) return false;
    const auto row = days_->step();
    if (!row) return end_with(row.error());
    if (!*row) {
      days_.reset();
      return false;
    }
    auto readings = decoded(days_->integer(0), sensor_, quantity_, days_->text(1));
    if (!readings) return end_with(readings.error());
    readings_ = std::move(*readings);
    next_ = 0;
    return true;
  }
  bool end_with(const Error& error) {
    on_fault_(error);
    days_.reset();
    readings_.clear();
    next_ = 0;
    return false;
  }

  std::unique_ptr<Statement> days_;  // null once the days have ended
  const std::string sensor_;
  const Quantity quantity_;
  const Instant from_, to_;
  const FaultSink on_fault_;
  std::vector<Reading> readings_;  // of the day that is open
  std::size_t next_ = 0;           // in them
};

std::optional<ReadingSummary::Extreme> extreme_at(const Statement& row, int column,
                                                  std::int64_t day) {
  if (row.is_null(column)) return std::nullopt;
  return ReadingSummary::Extreme{row.real(column),
                                 start_of_day(day) + Duration(row.integer(column + 1))};
}

}  // namespace

tl::expected<bool, Error> fold_oldest_day(Database& database, Instant before) {
  const Instant end = start_of_day(day_of(before));
  const auto series = all_series(database);
  if (!series) return tl::unexpected(series.error());
  std::optional<Error> damaged;
  for (const SeriesKey& key : *series) {
    auto first = first_row(database, key, instant_of(0), end);
    while (first && *first) {
      const std::int64_t day = day_of(**first);
      const auto folded = fold_day(database, key, day);
      // Beside a damaged block its day's rows stay; the other days go on.
      if (!folded && folded.error().kind != ErrorKind::corrupt) {
        return tl::unexpected(folded.error());
      }
      if (folded && *folded) return true;
      if (!folded) damaged = folded.error();
      first = first_row(database, key, start_of_day(day + 1), end);
    }
    if (!first) return tl::unexpected(first.error());
  }
  if (damaged) return tl::unexpected(*damaged);
  return false;
}

tl::expected<void, Error> move_readings(Database& database, Instant from, Duration by) {
  const auto series = all_series(database);
  if (!series) return tl::unexpected(series.error());
  // Also the days they come to lie in: a moment that is taken there must be seen.
  const std::int64_t first = std::min(day_of(from), day_of(from + by));
  for (const SeriesKey& key : *series) {
    if (auto done = unfold_days(database, key, first); !done) return done;
    if (auto done = move_series(database, key, from, by); !done) return done;
  }
  auto arrivals = database.prepare(
      "UPDATE reading SET delay = delay + ?1 WHERE (marks & ?2) = 0 AND measured + delay >= ?3");
  arrivals->bind(1, std::int64_t{by.count()})
      .bind(2, std::int64_t{kStampedOnArrival})
      .bind(3, unix_ms(from));
  return arrivals->run();
}

tl::expected<bool, Error> forget_oldest_day(Database& database, std::int64_t day) {
  const auto series = all_series(database);
  if (!series) return tl::unexpected(series.error());
  for (const SeriesKey& key : *series) {
    const auto oldest = oldest_day(database, key);
    if (!oldest) return tl::unexpected(oldest.error());
    if (!*oldest || (*oldest)->day >= day) continue;
    if (auto done = remove_day(database, key, (*oldest)->day, (*oldest)->position); !done) {
      return tl::unexpected(done.error());
    }
    return true;
  }
  return false;
}

tl::expected<std::optional<Reading>, Error> DayLookup::find(Database& database,
                                                            const SeriesKey& series,
                                                            Instant measured) {
  const std::int64_t day = day_of(measured);
  auto known = std::ranges::find_if(
      days_, [&](const Day& kept) { return kept.series == series && kept.day == day; });
  if (known == days_.end()) {
    auto stored = read_day(database, series, day);
    if (!stored) return tl::unexpected(stored.error());
    if (days_.size() == kDaysRemembered) days_.pop_back();
    days_.push_front(
        {series, day, *stored ? std::move((*stored)->readings) : std::vector<Reading>()});
    known = days_.begin();
  }
  const auto& readings = known->readings;
  const auto found = std::ranges::lower_bound(readings, measured, {}, &Reading::measured_at);
  if (found == readings.end() || found->measured_at != measured) return std::optional<Reading>();
  return *found;
}

std::unique_ptr<ReadingCursor> block_cursor(Database& database, std::string sensor,
                                            const SeriesKey& series, Instant from, Instant to,
                                            FaultSink on_fault) {
  // A day whose column is gone is a fault, not a day without readings: hence LEFT.
  auto days = database.prepare(
      "SELECT day, bytes FROM day LEFT JOIN day_column USING (position) "
      "WHERE sensor = ?1 AND quantity = ?2 AND day >= ?3 AND day <= ?4 ORDER BY day");
  bind_series(*days, series);
  days->bind(3, day_of(from)).bind(4, from < to ? day_of(to - Duration(1)) : day_of(from) - 1);
  return std::make_unique<BlockCursor>(std::move(days), std::move(sensor), series.quantity, from,
                                       to, std::move(on_fault));
}

tl::expected<std::optional<Reading>, Error> last_in_blocks_before(Database& database,
                                                                  std::string_view sensor,
                                                                  const SeriesKey& series,
                                                                  Instant before,
                                                                  std::optional<Instant> after) {
  auto statement = database.cached(
      "SELECT day, bytes, last_at FROM day LEFT JOIN day_column USING (position) "
      "WHERE sensor = ?1 AND quantity = ?2 AND day <= ?3 ORDER BY day DESC LIMIT 2");
  bind_series(*statement, series);
  statement->bind(3, day_of(before));
  // Of the first day all readings may be at or after `before`; never of the second.
  while (true) {
    const auto row = statement->step();
    if (!row) return tl::unexpected(row.error());
    if (!*row) return std::optional<Reading>();
    const Instant last = start_of_day(statement->integer(0)) + Duration(statement->integer(2));
    if (after && last <= *after) return std::optional<Reading>();
    auto readings = decoded(statement->integer(0), sensor, series.quantity, statement->text(1));
    if (!readings) return tl::unexpected(readings.error());
    const auto end = std::ranges::lower_bound(*readings, before, {}, &Reading::measured_at);
    if (end != readings->begin()) return std::optional<Reading>(*std::prev(end));
  }
}

tl::expected<std::vector<std::string>, Error> sensors_with_blocks(Database& database) {
  auto statement = database.cached(
      "SELECT id FROM sensor WHERE EXISTS (SELECT 1 FROM day WHERE day.sensor = sensor.number) "
      "ORDER BY id");
  return statement->texts();
}

tl::expected<std::optional<Instant>, Error> newest_in_blocks(Database& database) {
  const auto series = all_series(database);
  if (!series) return tl::unexpected(series.error());
  std::optional<Instant> newest;
  for (const SeriesKey& key : *series) {
    auto statement = database.cached(
        "SELECT day, last_at FROM day WHERE sensor = ?1 AND quantity = ?2 ORDER BY day DESC "
        "LIMIT 1");
    bind_series(*statement, key);
    const auto row = statement->step();
    if (!row) return tl::unexpected(row.error());
    if (!*row) continue;
    const Instant last = start_of_day(statement->integer(0)) + Duration(statement->integer(1));
    newest = newest ? std::max(*newest, last) : last;
  }
  return newest;
}

tl::expected<bool, Error> day_has_rows(Database& database, const SeriesKey& series,
                                       std::int64_t day) {
  const auto first = first_row(database, series, start_of_day(day), start_of_day(day + 1));
  if (!first) return tl::unexpected(first.error());
  return first->has_value();
}

tl::expected<std::vector<DaySummary>, Error> day_summaries(Database& database,
                                                           const SeriesKey& series,
                                                           std::int64_t first, std::int64_t last) {
  auto statement = database.cached(
      "SELECT day, readings, first_at, last_at, trusted, sum, first, first_trusted_at, last, "
      "last_trusted_at, lowest, lowest_at, highest, highest_at FROM day "
      "WHERE sensor = ?1 AND quantity = ?2 AND day >= ?3 AND day <= ?4 ORDER BY day");
  bind_series(*statement, series);
  statement->bind(3, first).bind(4, last);
  std::vector<DaySummary> days;
  while (true) {
    const auto row = statement->step();
    if (!row) return tl::unexpected(row.error());
    if (!*row) return days;
    const std::int64_t day = statement->integer(0);
    ReadingSummary summary;
    summary.readings = static_cast<std::uint64_t>(statement->integer(1));
    summary.first_measured = start_of_day(day) + Duration(statement->integer(2));
    summary.last_measured = start_of_day(day) + Duration(statement->integer(3));
    summary.trusted = static_cast<std::uint64_t>(statement->integer(4));
    summary.sum = statement->real(5);
    summary.first = extreme_at(*statement, 6, day);
    summary.last = extreme_at(*statement, 8, day);
    summary.lowest = extreme_at(*statement, 10, day);
    summary.highest = extreme_at(*statement, 12, day);
    days.push_back({day, summary});
  }
}

}  // namespace torpor::daemon
