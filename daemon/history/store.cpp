#include "daemon/history/store.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <system_error>
#include <utility>

#include "daemon/history/day_rows.h"
#include "daemon/history/disk_error.h"
#include "daemon/history/history_copy.h"
#include "daemon/history/history_tables.h"
#include "daemon/history/jar_rows.h"
#include "daemon/history/journal_checks.h"
#include "daemon/history/reading_rows.h"
#include "daemon/history/schema.h"
#include "daemon/history/sqlite.h"
#include "daemon/history/writer_lock.h"

namespace torpor::daemon {
namespace {

std::filesystem::path beside(const std::filesystem::path& history, std::string_view suffix) {
  std::filesystem::path path = real_history(history);
  path += suffix;
  return path;
}

// An import of the past is folded while it comes; a logger that trickles in late is not, for each
// of its readings, the reason to write a whole day again.
constexpr std::size_t kManyLateRows = 1000;

std::int64_t stored_number(std::uint64_t number) { return static_cast<std::int64_t>(number); }

class FileStore final : public Store {
 public:
  FileStore(WriterLock lock, std::unique_ptr<Database> database)
      : lock_(std::move(lock)), database_(std::move(database)) {}
  ~FileStore() override;

  tl::expected<void, Error> begin() override;
  tl::expected<void, Error> commit() override;
  void rollback() override;

  tl::expected<Stored, Error> put_reading(const Reading& reading) override;
  tl::expected<Stored, Error> find_reading(const Reading& reading) const override;
  tl::expected<std::size_t, Error> fold_days(Instant before, std::size_t most) override;
  tl::expected<std::size_t, Error> forget_days(Instant before, std::size_t most) override;
  tl::expected<void, Error> move_stamps(
      Instant from, Duration by,
      const std::function<std::string(std::string_view)>& moved) override;
  tl::expected<void, Error> put_placement(const Placement& placement) override;
  tl::expected<void, Error> put_journal(const JournalEntry& entry) override;
  tl::expected<void, Error> mend_journal(const JournalEntry& entry) override;
  tl::expected<JournalFaults, Error> check_journal(
      const std::vector<JournalEntry>& journal) override {
    return check_entries(*database_, journal);
  }
  tl::expected<void, Error> accept_faults(const JournalFaults& faults) override;
  tl::expected<void, Error> put_alert(const StoredAlert& alert) override;
  tl::expected<void, Error> put_alert_change(const StoredAlertChange& change) override;
  tl::expected<void, Error> put_outbox(const OutboxMessage& message) override;
  tl::expected<void, Error> remove_outbox(std::string_view id) override;
  tl::expected<void, Error> put_answer(std::string_view correlation,
                                       std::string_view answer) override;
  tl::expected<void, Error> put_snapshot(std::uint64_t sequence, std::string_view bytes) override;
  tl::expected<void, Error> put_note(std::string_view name, std::string_view text) override;
  tl::expected<void, Error> put_jar_model(std::string_view jar, std::string_view bytes) override {
    return if_ready([&] { return put_model_row(*database_, jar, bytes); });
  }
  tl::expected<void, Error> remove_jar_model(std::string_view jar) override {
    return if_ready([&] { return remove_model_row(*database_, jar); });
  }
  tl::expected<void, Error> put_jar_checkpoint(std::string_view jar, Instant at,
                                               std::string_view bytes) override {
    return if_ready([&] { return put_checkpoint_row(*database_, jar, at, bytes); });
  }
  tl::expected<void, Error> remove_jar_checkpoints(std::string_view jar, Instant from) override {
    return if_ready([&] { return remove_checkpoint_rows(*database_, jar, from); });
  }
  tl::expected<void, Error> put_jar_day(std::string_view jar, const StoredJarDay& day) override {
    return if_ready([&] { return put_jar_day_row(*database_, jar, day); });
  }
  tl::expected<void, Error> remove_jar_days(std::string_view jar, std::int64_t first) override {
    return if_ready([&] { return remove_jar_day_rows(*database_, jar, first); });
  }

  std::optional<std::string> answer(std::string_view correlation) const override {
    return value_or_fault(read_answer(*database_, correlation));
  }
  std::optional<std::string> note(std::string_view name) const override {
    return value_or_fault(read_note(*database_, name));
  }
  Snapshot snapshot() const override { return value_or_fault(read_snapshot(*database_)); }
  std::vector<OutboxMessage> outbox() const override {
    return value_or_fault(read_outbox(*database_));
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
  std::optional<Instant> newest_measured() const override {
    const auto row = value_or_fault(newest_row(*database_));
    const auto folded = value_or_fault(newest_in_blocks(*database_));
    return row && folded ? std::max(row, folded) : row ? row : folded;
  }
  std::vector<StoredJarModel> jar_models() const override {
    return value_or_fault(read_model_rows(*database_));
  }
  std::optional<StoredJarCheckpoint> jar_checkpoint_before(std::string_view jar,
                                                           Instant at) const override {
    return value_or_fault(read_checkpoint_before(*database_, jar, at));
  }
  std::optional<Error> fault() const override { return fault_; }

 private:
  // SQLite rolls a transaction back by itself when the disk is full or faulty. What is written
  // after that would be committed call by call: half a step of the world.
  tl::expected<void, Error> ready() const;
  tl::expected<Stored, Error> compare_block(std::int64_t sensor, const Reading& reading) const;
  template <class ChangeDay>
  tl::expected<std::size_t, Error> in_days(std::size_t most, const ChangeDay& change);
  template <class Write>
  tl::expected<void, Error> if_ready(const Write& write) const {
    if (auto able = ready(); !able) return able;
    return write();
  }
  template <class Value>
  Value value_or_fault(tl::expected<Value, Error> result) const {
    if (result) return std::move(*result);
    if (!fault_) fault_ = result.error();
    return {};
  }

  const WriterLock lock_;  // released after the database is closed
  const std::unique_ptr<Database> database_;
  mutable SensorNumbers numbers_;
  mutable DayLookup blocks_;
  mutable std::optional<Error> fault_;
  bool begun_ = false;
  Instant folded_through_ = instant_of(0);  // no finished day before it has rows, but for:
  std::size_t late_rows_ = 0;
};

FileStore::~FileStore() {
  rollback();
  // An empty write-ahead file lets readers open the history who may not write beside it. If it
  // cannot be emptied, readers and the next start read what is in it.
  const auto emptied = database_->execute("PRAGMA wal_checkpoint(TRUNCATE)");
  static_cast<void>(emptied);
}

tl::expected<void, Error> FileStore::ready() const {
  if (!begun_ || database_->in_transaction()) return {};
  return tl::unexpected(
      Error{ErrorKind::io,
            "the history gave this transaction up after a failed write; nothing of it was kept"});
}

tl::expected<void, Error> FileStore::begin() {
  if (begun_)
    return tl::unexpected(Error{ErrorKind::invalid, "a transaction is under way already"});
  auto done = database_->execute("BEGIN IMMEDIATE");
  begun_ = done.has_value();
  return done;
}

tl::expected<void, Error> FileStore::commit() {
  if (!begun_)
    return tl::unexpected(Error{ErrorKind::invalid, "there is no transaction to commit"});
  auto done = ready();
  if (done) done = database_->execute("COMMIT");
  if (!done) rollback();
  begun_ = false;
  return done;
}

void FileStore::rollback() {
  if (!begun_) return;
  begun_ = false;
  numbers_.forget();
  blocks_.forget();
  if (!database_->in_transaction()) return;
  // It fails only where SQLite has rolled back by itself, which comes to the same.
  const auto rolled_back = database_->execute("ROLLBACK");
  static_cast<void>(rolled_back);
}

tl::expected<Stored, Error> FileStore::put_reading(const Reading& reading) {
  if (!std::isfinite(reading.raw)) {
    return tl::unexpected(
        Error{ErrorKind::invalid, fmt::format("the value of {} is not a number", reading.sensor)});
  }
  if (auto able = ready(); !able) return tl::unexpected(able.error());
  const auto number = numbers_.find_or_add(*database_, reading.sensor);
  if (!number) return tl::unexpected(number.error());
  auto in_block = compare_block(*number, reading);
  // A damaged block must not keep the step that came with this reading from being written.
  if (!in_block && in_block.error().kind != ErrorKind::corrupt) return in_block;
  if (!in_block && !fault_) fault_ = in_block.error();
  if (in_block && *in_block != Stored::fresh) return in_block;
  auto put = put_row(*database_, *number, reading);
  if (put && *put == Stored::fresh && reading.measured_at < folded_through_) ++late_rows_;
  return put;
}

tl::expected<Stored, Error> FileStore::compare_block(std::int64_t sensor,
                                                     const Reading& reading) const {
  const auto kept = blocks_.find(*database_, {sensor, reading.quantity}, reading.measured_at);
  if (!kept) return tl::unexpected(kept.error());
  if (!*kept) return Stored::fresh;
  const bool same = (*kept)->raw == reading.raw && (*kept)->unit == reading.unit;
  return same ? Stored::known : Stored::conflicting;
}

tl::expected<std::size_t, Error> FileStore::fold_days(Instant before, std::size_t most) {
  const Instant horizon = start_of_day(day_of(before));
  if (horizon <= folded_through_ && late_rows_ < kManyLateRows) return 0;
  auto folded = in_days(most, [&] { return fold_oldest_day(*database_, horizon); });
  if (folded && *folded < most) {
    folded_through_ = std::max(folded_through_, horizon);
    late_rows_ = 0;
  }
  return folded;
}

// Changes one day after the other in one transaction, until there is none left or `most` are done.
template <class ChangeDay>
tl::expected<std::size_t, Error> FileStore::in_days(std::size_t most, const ChangeDay& change) {
  if (auto begun = begin(); !begun) return tl::unexpected(begun.error());
  std::size_t changed = 0;
  for (bool more = true; more && changed < most;) {
    const auto next = change();
    if (!next) {
      rollback();
      return tl::unexpected(next.error());
    }
    more = *next;
    if (more) ++changed;
  }
  blocks_.forget();
  if (auto done = commit(); !done) return tl::unexpected(done.error());
  return changed;
}

tl::expected<std::size_t, Error> FileStore::forget_days(Instant before, std::size_t most) {
  return in_days(most, [&] { return forget_oldest_day(*database_, day_of(before)); });
}

tl::expected<Stored, Error> FileStore::find_reading(const Reading& reading) const {
  const auto number = numbers_.find(*database_, reading.sensor);
  if (!number) return tl::unexpected(number.error());
  if (!*number) return Stored::fresh;
  auto in_block = compare_block(**number, reading);
  if (!in_block || *in_block != Stored::fresh) return in_block;
  return compare_row(*database_, **number, reading);
}

tl::expected<void, Error> FileStore::move_stamps(
    Instant from, Duration by, const std::function<std::string(std::string_view)>& moved) {
  if (auto able = ready(); !able) return able;
  if (auto done = move_readings(*database_, from, by); !done) return done;
  blocks_.forget();
  folded_through_ = std::min({folded_through_, from, from + by});
  if (auto done = move_alert_rows(*database_, from, by, moved); !done) return done;
  return move_placement_rows(*database_, from, by);
}

tl::expected<void, Error> FileStore::put_placement(const Placement& placement) {
  if (auto able = ready(); !able) return able;
  const rules::SensorSpec& spec = placement.spec;
  auto statement = database_->cached(
      "INSERT INTO placement (sensor, since, place, jar, senses, measures, expected_interval, "
      "hold) "
      "SELECT ?1, iif(EXISTS (SELECT 1 FROM placement WHERE sensor = ?1), ?2, min(?2, ?3)), "
      "?4, ?5, ?6, ?7, ?8, ?9 WHERE true "
      "ON CONFLICT (sensor, since) DO UPDATE SET place = excluded.place, jar = excluded.jar, "
      "senses = excluded.senses, measures = excluded.measures, "
      "expected_interval = excluded.expected_interval, hold = excluded.hold");
  statement->bind_text(1, spec.id)
      .bind(2, unix_ms(placement.from))
      .bind(3, unix_ms(kBeginning))
      .bind_text(4, spec.place)
      .bind_text(5, spec.jar)
      .bind_text(6, rules::senses_name(spec.senses))
      .bind_text(7, measures_list(spec.measures))
      .bind(8, std::int64_t{spec.expected_interval.count()})
      .bind(9, std::int64_t{spec.hold.count()});
  return statement->run();
}

tl::expected<void, Error> FileStore::put_journal(const JournalEntry& entry) {
  if (auto able = ready(); !able) return able;
  auto statement = database_->cached(
      "INSERT INTO journal (number, happened, recorded, told_by, sentence, act) "
      "VALUES (?1, ?2, ?3, ?4, ?5, ?6) ON CONFLICT DO NOTHING");
  statement->bind(1, stored_number(entry.number))
      .bind(2, unix_ms(entry.happened_at))
      .bind(3, unix_ms(entry.recorded_at))
      .bind_text(4, entry.by)
      .bind_text(5, entry.sentence)
      .bind_text(6, entry.act);
  auto done = statement->run();
  if (done && database_->changes() == 0) {
    return tl::unexpected(
        Error{ErrorKind::exists, fmt::format("journal entry {} is written already", entry.number)});
  }
  return done ? put_check(*database_, entry) : done;
}

tl::expected<void, Error> FileStore::accept_faults(const JournalFaults& faults) {
  if (auto able = ready(); !able) return able;
  for (const std::uint64_t number : faults.missing) {
    if (auto put = put_lost(*database_, number); !put) return put;
  }
  if (faults.changed.empty()) return {};
  const auto journal = read_journal(*database_);
  if (!journal) return tl::unexpected(journal.error());
  for (const JournalEntry& entry : *journal) {
    if (std::ranges::find(faults.changed, entry.number) == faults.changed.end()) continue;
    if (auto put = put_check(*database_, entry); !put) return put;
  }
  return {};
}

tl::expected<void, Error> FileStore::mend_journal(const JournalEntry& entry) {
  if (auto able = ready(); !able) return able;
  auto remove = database_->cached("DELETE FROM journal WHERE number = ?1");
  remove->bind(1, stored_number(entry.number));
  if (auto removed = remove->run(); !removed) return removed;
  return put_journal(entry);
}

tl::expected<void, Error> FileStore::put_alert(const StoredAlert& alert) {
  if (auto able = ready(); !able) return able;
  auto statement = database_->cached(
      "INSERT INTO alert (number, open, body) VALUES (?1, ?2, ?3) "
      "ON CONFLICT (number) DO UPDATE SET open = excluded.open, body = excluded.body");
  statement->bind(1, stored_number(alert.number))
      .bind(2, std::int64_t{alert.open})
      .bind_text(3, alert.body);
  return statement->run();
}

tl::expected<void, Error> FileStore::put_alert_change(const StoredAlertChange& change) {
  if (auto able = ready(); !able) return able;
  auto statement =
      database_->cached("INSERT INTO alert_change (alert, at, kind, body) VALUES (?1, ?2, ?3, ?4)");
  statement->bind(1, stored_number(change.number))
      .bind(2, unix_ms(change.at))
      .bind_text(3, change.kind)
      .bind_text(4, change.body);
  return statement->run();
}

tl::expected<void, Error> FileStore::put_outbox(const OutboxMessage& message) {
  if (auto able = ready(); !able) return able;
  auto statement = database_->cached(
      "INSERT INTO outbox (id, topic, payload, retain, correlation) VALUES (?1, ?2, ?3, ?4, ?5) "
      "ON CONFLICT (id) DO NOTHING");
  statement->bind_text(1, message.id)
      .bind_text(2, message.topic)
      .bind_text(3, message.payload)
      .bind(4, std::int64_t{message.retain})
      .bind_blob(5, message.correlation);
  return statement->run();
}

tl::expected<void, Error> FileStore::remove_outbox(std::string_view id) {
  if (auto able = ready(); !able) return able;
  auto statement = database_->cached("DELETE FROM outbox WHERE id = ?1");
  statement->bind_text(1, id);
  return statement->run();
}

tl::expected<void, Error> FileStore::put_answer(std::string_view correlation,
                                                std::string_view answer) {
  if (auto able = ready(); !able) return able;
  auto insert = database_->cached(
      "INSERT INTO answer (correlation, answer) VALUES (?1, ?2) "
      "ON CONFLICT (correlation) DO UPDATE SET answer = excluded.answer");
  insert->bind_blob(1, correlation).bind_text(2, answer);
  if (auto done = insert->run(); !done) return done;
  auto forget = database_->cached(
      "DELETE FROM answer WHERE position <= "
      "(SELECT position FROM answer ORDER BY position DESC LIMIT 1 OFFSET ?1)");
  forget->bind(1, std::int64_t{kAnswersKept});
  return forget->run();
}

tl::expected<void, Error> FileStore::put_snapshot(std::uint64_t sequence, std::string_view bytes) {
  if (auto able = ready(); !able) return able;
  // Not kept: a kept statement holds on to what was bound to it, here megabytes.
  const auto statement = database_->prepare(
      "INSERT INTO snapshot (only_one, sequence, bytes) VALUES (1, ?1, ?2) "
      "ON CONFLICT (only_one) DO UPDATE SET sequence = excluded.sequence, bytes = excluded.bytes");
  statement->bind(1, stored_number(sequence)).bind_blob(2, bytes);
  return statement->run();
}

tl::expected<void, Error> FileStore::put_note(std::string_view name, std::string_view text) {
  if (auto able = ready(); !able) return able;
  auto statement = database_->cached(
      "INSERT INTO note (name, text) VALUES (?1, ?2) "
      "ON CONFLICT (name) DO UPDATE SET text = excluded.text");
  statement->bind_text(1, name).bind_text(2, text);
  return statement->run();
}

// WAL lets readers read while one writes. FULL syncs each commit: what the inbox drops after one is
// on the disk, and a disk that failed to write it says so before the inbox forgets.
constexpr const char* kConnectionSettings =
    "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; "
    // KiB. What is written goes where it was last written; a small board has other use for more.
    "PRAGMA cache_size = -512; "
    // The size at which SQLite checkpoints by itself: what a long reader made grow is given back.
    "PRAGMA journal_size_limit = 4194304; PRAGMA cell_size_check = ON; "
    "PRAGMA trusted_schema = OFF;";

tl::expected<void, Error> bring_to_current_keeping_a_copy(Database& database, SchemaState state,
                                                          const std::filesystem::path& file) {
  if (state == SchemaState::current) return {};
  std::filesystem::path copy;
  if (state == SchemaState::older) {
    const auto version = database.integer("PRAGMA user_version");
    if (!version) return tl::unexpected(version.error());
    auto kept = keep_copy(database, beside(file, fmt::format(".v{}", *version)));
    if (!kept) return tl::unexpected(kept.error());
    copy = std::move(*kept);
  }
  auto current = bring_to_current(database);
  if (!current && !copy.empty()) {
    // The file is as it was: one copy more with each attempt would only fill the disk.
    std::error_code left_behind;
    std::filesystem::remove(copy, left_behind);
  }
  return current;
}

}  // namespace

tl::expected<std::unique_ptr<Store>, Error> Store::open(const std::filesystem::path& named) {
  const std::filesystem::path file = real_history(named);
  if (file.has_parent_path()) {
    std::error_code error;
    std::filesystem::create_directories(file.parent_path(), error);
    if (error) {
      return tl::unexpected(disk_error(error.value(), "make the folder", file.parent_path()));
    }
  }
  auto lock = WriterLock::take(lock_file(file));
  if (!lock) return tl::unexpected(lock.error());
  auto database = Database::open(file, OpenMode::create);
  if (!database) return tl::unexpected(database.error());
  // Before anything is written: a file that is not ours is left as it is.
  const auto state = check_schema(**database, file);
  if (!state) return tl::unexpected(state.error());
  if (auto set = (*database)->execute(kConnectionSettings); !set) {
    return tl::unexpected(set.error());
  }
  if (auto current = bring_to_current_keeping_a_copy(**database, *state, file); !current) {
    return tl::unexpected(current.error());
  }
  (*database)->keep_files_beside();
  return std::make_unique<FileStore>(std::move(*lock), std::move(*database));
}

std::filesystem::path real_history(const std::filesystem::path& history) {
  // As many as the kernel follows.
  constexpr int kMostLinks = 40;
  std::filesystem::path file = history;
  std::error_code error;
  for (int i = 0; i < kMostLinks && std::filesystem::is_symlink(file, error); ++i) {
    const std::filesystem::path target = std::filesystem::read_symlink(file, error);
    if (error) break;
    file = file.parent_path() / target;  // an absolute target replaces all
  }
  const std::filesystem::path folder =
      std::filesystem::weakly_canonical(file.has_parent_path() ? file.parent_path() : ".", error);
  return error ? file : folder / file.filename();
}

std::filesystem::path inbox_folder(const std::filesystem::path& history) {
  return beside(history, ".inbox");
}
std::filesystem::path lock_file(const std::filesystem::path& history) {
  return beside(history, ".lock");
}
std::filesystem::path socket_file(const std::filesystem::path& history) {
  return beside(history, ".socket");
}

}  // namespace torpor::daemon
