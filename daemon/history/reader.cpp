#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <system_error>
#include <utility>

#include "daemon/history/day_rows.h"
#include "daemon/history/history_tables.h"
#include "daemon/history/jar_rows.h"
#include "daemon/history/merged_readings.h"
#include "daemon/history/open_history.h"
#include "daemon/history/reading_rows.h"
#include "daemon/history/schema.h"
#include "daemon/history/sqlite.h"
#include "daemon/history/store.h"
#include "daemon/history/writer_lock.h"

namespace torpor::daemon {
namespace {

class FileReader final : public Reader {
 public:
  FileReader(std::unique_ptr<Database> database, InboxReadings inbox)
      : database_(std::move(database)), inbox_(std::move(inbox)) {}

  std::unique_ptr<ReadingCursor> readings(std::string_view sensor, Quantity quantity, Instant from,
                                          Instant to) const override {
    std::unique_ptr<ReadingCursor> stored;
    if (const auto number = sensor_number(sensor)) {
      const auto on_fault = [this](const Error& error) { note_fault(error); };
      const std::string id(sensor);
      stored = joined_cursor(block_cursor(*database_, id, {*number, quantity}, from, to, on_fault),
                             row_cursor(*database_, id, *number, quantity, from, to, on_fault));
    }
    return merged_cursor(std::move(stored), inbox_.series(sensor, quantity), from, to);
  }

  std::optional<Reading> last_before(std::string_view sensor, Quantity quantity,
                                     Instant before) const override {
    std::optional<Reading> last;
    if (const auto number = sensor_number(sensor)) {
      last = value_or_fault(last_row_before(*database_, sensor, *number, quantity, before));
      const auto after = last ? std::optional(last->measured_at) : std::nullopt;
      const SeriesKey series{*number, quantity};
      auto folded =
          value_or_fault(last_in_blocks_before(*database_, sensor, series, before, after));
      if (folded && (!last || folded->measured_at > last->measured_at)) last = std::move(folded);
    }
    const InboxReadings::Series& series = inbox_.series(sensor, quantity);
    const auto after = series.lower_bound(before);
    if (after == series.begin()) return last;
    const Reading& waiting = std::prev(after)->second;
    return !last || waiting.measured_at > last->measured_at ? waiting : last;
  }

  std::vector<ReadingSummary> summaries(std::string_view sensor, Quantity quantity, Instant from,
                                        Instant to, Duration width) const override;

  std::vector<std::string> known_sensors() const override {
    const std::vector<std::string> rows = value_or_fault(sensors_with_rows(*database_));
    const std::vector<std::string> folded = value_or_fault(sensors_with_blocks(*database_));
    std::vector<std::string> stored;
    std::ranges::set_union(rows, folded, std::back_inserter(stored));
    std::vector<std::string> all;
    std::ranges::set_union(stored, inbox_.sensors(), std::back_inserter(all));
    return all;
  }
  std::vector<Placement> placements() const override {
    return value_or_fault(read_placements(*database_));
  }
  std::vector<JournalEntry> journal() const override {
    return value_or_fault(read_journal(*database_));
  }
  std::vector<StoredAlert> alerts(bool open_only) const override {
    return value_or_fault(read_alerts(*database_, open_only));
  }
  std::vector<StoredAlertChange> alert_changes(std::uint64_t number) const override {
    return value_or_fault(read_alert_changes(*database_, number));
  }
  std::optional<Instant> newest_measured() const override {
    // Of optionals an absent one is the least.
    return std::max({value_or_fault(newest_row(*database_)),
                     value_or_fault(newest_in_blocks(*database_)), inbox_.newest_measured()});
  }
  std::optional<std::string> note(std::string_view name) const override {
    return value_or_fault(read_note(*database_, name));
  }
  std::vector<StoredJarModel> jar_models() const override {
    return value_or_fault(read_model_rows(*database_));
  }
  std::optional<std::string> jar_model(std::string_view jar) const override {
    return value_or_fault(read_model_row(*database_, jar));
  }
  std::optional<StoredJarCheckpoint> jar_checkpoint_before(std::string_view jar,
                                                           Instant at) const override {
    return value_or_fault(read_checkpoint_before(*database_, jar, at));
  }
  std::vector<StoredJarDay> jar_days(std::string_view jar, std::int64_t first,
                                     std::int64_t last) const override {
    return value_or_fault(read_jar_day_rows(*database_, jar, first, last));
  }
  std::optional<Error> fault() const override { return fault_; }

 private:
  std::optional<std::int64_t> sensor_number(std::string_view sensor) const {
    return value_or_fault(numbers_.find(*database_, sensor));
  }
  void note_fault(const Error& error) const {
    if (!fault_) fault_ = error;
  }
  template <class Value>
  Value value_or_fault(tl::expected<Value, Error> result) const {
    if (result) return std::move(*result);
    note_fault(result.error());
    return {};
  }

  const std::unique_ptr<Database> database_;  // in its read transaction until the end
  const InboxReadings inbox_;
  mutable SensorNumbers numbers_;
  mutable std::optional<Error> fault_;
};

void add_all(BucketSummaries& buckets, ReadingCursor& readings) {
  while (const auto reading = readings.next()) buckets.add(*reading);
}

// Days from their summaries where nothing stands beside their block and no bucket ends in them;
// what lies between, reading by reading.
std::vector<ReadingSummary> FileReader::summaries(std::string_view sensor, Quantity quantity,
                                                  Instant from, Instant to, Duration width) const {
  BucketSummaries buckets(from, to, width);
  Instant at = from;
  if (const auto number = sensor_number(sensor); number && from < to) {
    const SeriesKey series{*number, quantity};
    const InboxReadings::Series& waiting = inbox_.series(sensor, quantity);
    for (const DaySummary& folded :
         value_or_fault(day_summaries(*database_, series, day_of(from), day_of(to)))) {
      const Instant begin = start_of_day(folded.day);
      const Instant end = start_of_day(folded.day + 1);
      if (!buckets.hold_together(begin, end)) continue;
      const auto inbox = waiting.lower_bound(begin);
      if (inbox != waiting.end() && inbox->first < end) continue;
      if (value_or_fault(day_has_rows(*database_, series, folded.day))) continue;
      if (at < begin) add_all(buckets, *readings(sensor, quantity, at, begin));
      buckets.add(begin, folded.summary);
      at = end;
    }
  }
  if (at < to) add_all(buckets, *readings(sensor, quantity, at, to));
  return buckets.take();
}

Error no_history(const std::filesystem::path& file) {
  return {ErrorKind::not_found,
          fmt::format("there is no history at {} yet: start torpord, or import readings, with the "
                      "configuration that names this file",
                      file.string())};
}

// Opened, in its read transaction, and known to be ours; null: it has no tables yet.
tl::expected<std::unique_ptr<Database>, Error> open_in(const std::filesystem::path& file,
                                                       OpenMode mode) {
  auto database = Database::open(file, mode);
  if (!database) return database;
  // The first statement after BEGIN is the moment that the whole transaction sees.
  if (auto begun = (*database)->execute("BEGIN"); !begun) return tl::unexpected(begun.error());
  const auto state = check_schema(**database, file);
  if (!state) return tl::unexpected(state.error());
  if (*state == SchemaState::empty) return nullptr;
  if (*state == SchemaState::older) {
    return tl::unexpected(Error{
        ErrorKind::invalid, fmt::format("{} was written by an older torpor; start torpord once, it "
                                        "brings the file up to date",
                                        file.string())});
  }
  return database;
}

// Nobody writes the file and nothing waits in its write-ahead file.
bool is_at_rest(const std::filesystem::path& file) {
  std::error_code absent;
  const auto wal_bytes = std::filesystem::file_size(file.string() + "-wal", absent);
  return (absent || wal_bytes == 0) && !is_locked(lock_file(file));
}

tl::expected<std::unique_ptr<Database>, Error> open_if_there(const std::filesystem::path& file) {
  std::error_code error;
  if (!std::filesystem::exists(file, error) && !error) return nullptr;
  auto database = open_in(file, OpenMode::read_only);
  if (database || database.error().kind == ErrorKind::corrupt ||
      database.error().kind == ErrorKind::newer_version) {
    return database;
  }
  // SQLite wants files beside a database in WAL mode, and this process may not be allowed to make
  // them: on a read-only medium, or as another user.
  if (is_at_rest(file)) {
    if (auto at_rest = open_in(file, OpenMode::immutable)) return at_rest;
  }
  return database;
}

struct Source {
  std::filesystem::path file, inbox;
};

// The history, or what stands in for it while it is away.
Source source_of(const std::filesystem::path& file, const std::filesystem::path& spool) {
  const std::filesystem::path stand_in = spool.empty() ? spool : stand_in_file(spool);
  std::error_code absent;
  if (!stand_in.empty() && std::filesystem::exists(stand_in, absent)) {
    if (const auto database = Database::open(stand_in, OpenMode::read_only)) {
      const auto inbox = read_note(**database, kInboxNote);
      if (inbox && *inbox) return {stand_in, **inbox};
    }
  }
  return {file, inbox_folder(file)};
}

tl::expected<std::unique_ptr<Database>, Error> empty_history() {
  auto database = Database::open({}, OpenMode::memory);
  if (!database) return database;
  if (auto made = bring_to_current(**database); !made) return tl::unexpected(made.error());
  return database;
}

}  // namespace

ReadingSummary Reader::summary(std::string_view sensor, Quantity quantity, Instant from,
                               Instant to) const {
  const auto all = summaries(sensor, quantity, from, to, std::max(to - from, Duration(1)));
  return all.empty() ? ReadingSummary() : all.front();
}

std::vector<ReadingSummary> Reader::summaries(std::string_view sensor, Quantity quantity,
                                              Instant from, Instant to, Duration width) const {
  BucketSummaries buckets(from, to, width);
  if (from < to) add_all(buckets, *readings(sensor, quantity, from, to));
  return buckets.take();
}

tl::expected<std::unique_ptr<Reader>, Error> Reader::open(const std::filesystem::path& file,
                                                          const std::filesystem::path& spool) {
  const Source source = source_of(file, spool);
  // Before the transaction: what is folded in between is then seen in both, and never in neither.
  const std::vector<InboxRecord> records = peek_inbox(source.inbox, spool, 0);
  auto database = open_if_there(source.file);
  if (!database) return tl::unexpected(database.error());
  if (!*database && records.empty()) return tl::unexpected(no_history(file));
  if (!*database) database = empty_history();
  if (!database) return tl::unexpected(database.error());
  const auto snapshot = read_snapshot(**database);
  if (!snapshot) return tl::unexpected(snapshot.error());
  return std::make_unique<FileReader>(std::move(*database),
                                      InboxReadings(records, snapshot->sequence));
}

}  // namespace torpor::daemon
