// Finished days of readings as blocks in SQLite: folding rows into them, and asking them. A late
// reading of a folded day stands as a row beside its block until the day is folded again; whoever
// reads takes both. No transaction is begun or ended here.
#pragma once

#include <cstdint>
#include <deque>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/history/day_block.h"
#include "daemon/history/reading_rows.h"
#include "daemon/history/reading_summary.h"
#include "daemon/history/sqlite.h"

namespace torpor::daemon {

// One quantity of one sensor, as the tables know it.
struct SeriesKey {
  std::int64_t sensor = 0;  // number in table `sensor`
  Quantity quantity = Quantity::temperature;
  friend bool operator==(const SeriesKey&, const SeriesKey&) = default;
};

// Moves the oldest day with rows that ended at or before `before` into its block. False: there is
// none. Precondition: inside a transaction.
[[nodiscard]] tl::expected<bool, Error> fold_oldest_day(Database& database, Instant before);

// Removes the oldest block of a day before `day`. False: there is none. Precondition: inside a
// transaction.
[[nodiscard]] tl::expected<bool, Error> forget_oldest_day(Database& database, std::int64_t day);

// The clock was wrong: readings without a time of their own, measured at `from` or later, are
// measured `by` later; where one stands there already, the next free millisecond.
// Blocks of those days become rows, to be folded again. Arrivals of the others move, as far as they
// are rows. Precondition: inside a transaction.
[[nodiscard]] tl::expected<void, Error> move_readings(Database& database, Instant from,
                                                      Duration by);

// Readings in blocks by their moment. Keeps the last few days asked for: what comes late, or is
// imported again, comes in order.
class DayLookup {
 public:
  // The reading of exactly that moment in a block.
  [[nodiscard]] tl::expected<std::optional<Reading>, Error> find(Database& database,
                                                                 const SeriesKey& series,
                                                                 Instant measured);
  // After days were folded or a transaction was rolled back.
  void forget() { days_.clear(); }

 private:
  struct Day {
    SeriesKey series;
    std::int64_t day = 0;
    std::vector<Reading> readings;  // empty: not folded
  };
  std::deque<Day> days_;  // the newest first
};

// Blocks only, in order, within [from, to).
[[nodiscard]] std::unique_ptr<ReadingCursor> block_cursor(Database& database, std::string sensor,
                                                          const SeriesKey& series, Instant from,
                                                          Instant to, FaultSink on_fault);
// The last reading in blocks before a moment, if it is after `after`.
[[nodiscard]] tl::expected<std::optional<Reading>, Error> last_in_blocks_before(
    Database& database, std::string_view sensor, const SeriesKey& series, Instant before,
    std::optional<Instant> after);
[[nodiscard]] tl::expected<std::vector<std::string>, Error> sensors_with_blocks(Database& database);
[[nodiscard]] tl::expected<std::optional<Instant>, Error> newest_in_blocks(Database& database);

// Whether rows stand beside a day's block, or without one.
[[nodiscard]] tl::expected<bool, Error> day_has_rows(Database& database, const SeriesKey& series,
                                                     std::int64_t day);

// A folded day's summary, from the table of days alone.
struct DaySummary {
  std::int64_t day = 0;
  ReadingSummary summary;
};
// Of the folded days of the series within [first, last], in order.
[[nodiscard]] tl::expected<std::vector<DaySummary>, Error> day_summaries(Database& database,
                                                                         const SeriesKey& series,
                                                                         std::int64_t first,
                                                                         std::int64_t last);

}  // namespace torpor::daemon
