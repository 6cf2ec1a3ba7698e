// The history: one SQLite file (WAL). One writer, which holds a lock beside it; any number of
// read-only readers. All that changes with one step of the world is committed together: readings,
// alerts, journal, outbox, the engine's snapshot and the number of the last input applied.
#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/error.h"
#include "daemon/history/inbox.h"
#include "daemon/history/reading_summary.h"
#include "rules/watch/layout.h"
#include "sensors/reading.h"

namespace torpor::daemon {

// The schema this program writes. A file with a higher one is refused (kind newer_version).
inline constexpr int kSchemaVersion = 3;

// A sensor's placement and the instant from which it holds. The first one of a sensor holds from
// the beginning of time, so that an imported past has a place.
struct Placement {
  rules::SensorSpec spec;
  Instant from;
  friend bool operator==(const Placement&, const Placement&) = default;
};

// A line of the journal. `act` is the ledger's own canonical JSON; the store does not look inside.
struct JournalEntry {
  std::uint64_t number = 0;  // never restarts
  Instant happened_at;
  Instant recorded_at;
  std::string by;
  std::string sentence;  // as told
  std::string act;
  friend bool operator==(const JournalEntry&, const JournalEntry&) = default;
};

// Entries of the journal that are not as they were written. By number.
struct JournalFaults {
  std::vector<std::uint64_t> changed;
  std::vector<std::uint64_t> missing;
  [[nodiscard]] bool none() const { return changed.empty() && missing.empty(); }
};

struct StoredAlert {
  std::uint64_t number = 0;
  bool open = true;  // standing or eased
  std::string body;  // JSON as published on alert/<number>
  friend bool operator==(const StoredAlert&, const StoredAlert&) = default;
};
struct StoredAlertChange {
  std::uint64_t number = 0;
  Instant at;
  std::string kind;  // alert_change_name()
  std::string body;  // the alert after it
  friend bool operator==(const StoredAlertChange&, const StoredAlertChange&) = default;
};

// A message that must reach the broker at least once.
struct OutboxMessage {
  std::string id;  // stable: the same message has the same id after a restart
  std::string topic;
  std::string payload;
  bool retain = false;
  std::string correlation;  // MQTT 5 correlation data, raw; empty: none
  friend bool operator==(const OutboxMessage&, const OutboxMessage&) = default;
};

// A jar's model as its owner wrote it down; the store does not look inside.
struct StoredJarModel {
  std::string jar;
  std::string bytes;
  friend bool operator==(const StoredJarModel&, const StoredJarModel&) = default;
};
struct StoredJarCheckpoint {
  Instant at;
  std::string bytes;
  friend bool operator==(const StoredJarCheckpoint&, const StoredJarCheckpoint&) = default;
};

// A day of a jar's life in short, as its owner wrote it down.
struct StoredJarDay {
  std::int64_t day = 0;  // since 1970-01-01, UTC
  std::string bytes;
  friend bool operator==(const StoredJarDay&, const StoredJarDay&) = default;
};

enum class Stored { fresh, known, conflicting };  // new; same key and value; same key, other value

// Readings of one sensor and quantity in order of measured-at. It must not outlive its reader.
class ReadingCursor {
 public:
  virtual ~ReadingCursor() = default;
  [[nodiscard]] virtual std::optional<Reading> next() = 0;
};

// More than any screen or sheet has points across, by far.
inline constexpr std::int64_t kMostBuckets = 100'000;

// What readers may ask; the same for the writer and for read-only processes. One object sees one
// consistent moment: inbox and rows are merged, no reading appears twice, the first one kept wins.
class Reader {
 public:
  // Opens read-only. Records still in the inbox are read first, then the file in one transaction.
  [[nodiscard]] static tl::expected<std::unique_ptr<Reader>, Error> open(
      const std::filesystem::path& file, const std::filesystem::path& spool);
  virtual ~Reader() = default;

  // [from, to), merged with what stands in the inbox.
  [[nodiscard]] virtual std::unique_ptr<ReadingCursor> readings(std::string_view sensor,
                                                                Quantity quantity, Instant from,
                                                                Instant to) const = 0;
  // The newest reading measured before `before`.
  [[nodiscard]] virtual std::optional<Reading> last_before(std::string_view sensor,
                                                           Quantity quantity,
                                                           Instant before) const = 0;
  // Every sensor that ever sent a reading.
  [[nodiscard]] virtual std::vector<std::string> known_sensors() const = 0;
  [[nodiscard]] virtual std::vector<Placement> placements() const = 0;              // by `from`
  [[nodiscard]] virtual std::vector<JournalEntry> journal() const = 0;              // by number
  [[nodiscard]] virtual std::vector<StoredAlert> alerts(bool open_only) const = 0;  // by number
  [[nodiscard]] virtual std::vector<StoredAlertChange> alert_changes(
      std::uint64_t number) const = 0;
  // Newest accepted measured-at of any sensor; nullopt: no readings.
  [[nodiscard]] virtual std::optional<Instant> newest_measured() const = 0;
  // A named text set by the writer (service state and counters), or nullopt.
  [[nodiscard]] virtual std::optional<std::string> note(std::string_view name) const = 0;
  [[nodiscard]] virtual std::vector<StoredJarModel> jar_models() const { return {}; }  // by jar
  // The bytes of one jar's model; nullopt: it has none.
  [[nodiscard]] virtual std::optional<std::string> jar_model(std::string_view) const {
    return std::nullopt;
  }
  // The newest checkpoint of the jar at or before `at`.
  [[nodiscard]] virtual std::optional<StoredJarCheckpoint> jar_checkpoint_before(
      std::string_view /*jar*/, Instant /*at*/) const {
    return std::nullopt;
  }
  // Those stored of the jar's days within [first, last], in order.
  [[nodiscard]] virtual std::vector<StoredJarDay> jar_days(std::string_view /*jar*/,
                                                           std::int64_t /*first*/,
                                                           std::int64_t /*last*/) const {
    return {};
  }
  // The first failure met while reading: what was returned since may be incomplete.
  [[nodiscard]] virtual std::optional<Error> fault() const { return std::nullopt; }
  // Of the readings measured in [from, to).
  [[nodiscard]] ReadingSummary summary(std::string_view sensor, Quantity quantity, Instant from,
                                       Instant to) const;
  // The same for every `width` counted from `from`, the last one cut at `to`: what a chart needs
  // (chart_points()). Folded days that lie whole in a bucket are not read for it, only their
  // summaries. Precondition: width > 0, and at most kMostBuckets of them.
  [[nodiscard]] virtual std::vector<ReadingSummary> summaries(std::string_view sensor,
                                                              Quantity quantity, Instant from,
                                                              Instant to, Duration width) const;
};

// The writer. Strand only. Between begin() and commit() everything is one transaction; a failed
// commit rolls back and leaves the store as it was, to be tried again. After any other failure in
// between call rollback(). Outside of a transaction each call is committed by itself.
class Store {
 public:
  // Takes the lock (kind busy: another torpord or import has it), makes the folder and file if
  // absent, checks the schema version, migrates forward. Before it migrates it keeps a copy of the
  // file as it was: FILE.v1 for schema 1, with a number behind it if that name is taken. Every
  // commit is on the disk when it returns.
  [[nodiscard]] static tl::expected<std::unique_ptr<Store>, Error> open(
      const std::filesystem::path& file);
  virtual ~Store() = default;

  [[nodiscard]] virtual tl::expected<void, Error> begin() = 0;
  [[nodiscard]] virtual tl::expected<void, Error> commit() = 0;
  virtual void rollback() = 0;

  [[nodiscard]] virtual tl::expected<Stored, Error> put_reading(const Reading& reading) = 0;
  // Whether put_reading() would say known or conflicting, without writing.
  [[nodiscard]] virtual tl::expected<Stored, Error> find_reading(const Reading& reading) const = 0;
  // A sensor's first placement is stored as holding from 1970 on. One from the same moment as a
  // stored one of that sensor takes its place.
  [[nodiscard]] virtual tl::expected<void, Error> put_placement(const Placement& placement) = 0;
  // The clock was wrong: readings without a time of their own, placements and changes of alerts,
  // all stamped at `from` or later, move by `by`. `moved` gives an alert's body with its times
  // moved. Within a transaction.
  [[nodiscard]] virtual tl::expected<void, Error> move_stamps(
      Instant from, Duration by, const std::function<std::string(std::string_view)>& moved) = 0;
  // Kind exists: that number is taken.
  [[nodiscard]] virtual tl::expected<void, Error> put_journal(const JournalEntry& entry) = 0;
  // Puts an entry in the place of a damaged one of that number, or of one that is gone.
  [[nodiscard]] virtual tl::expected<void, Error> mend_journal(const JournalEntry& entry) = 0;
  // Compares `journal`, as it was just read, with the checksums of its entries. Entries of before
  // there were any get one.
  [[nodiscard]] virtual tl::expected<JournalFaults, Error> check_journal(
      const std::vector<JournalEntry>& journal) = 0;
  // Somebody was told of them: they are no faults from now on.
  [[nodiscard]] virtual tl::expected<void, Error> accept_faults(const JournalFaults& faults) = 0;
  [[nodiscard]] virtual tl::expected<void, Error> put_alert(const StoredAlert& alert) = 0;
  [[nodiscard]] virtual tl::expected<void, Error> put_alert_change(
      const StoredAlertChange& change) = 0;
  // A message whose id is waiting already changes nothing.
  [[nodiscard]] virtual tl::expected<void, Error> put_outbox(const OutboxMessage& message) = 0;
  [[nodiscard]] virtual tl::expected<void, Error> remove_outbox(std::string_view id) = 0;
  // The stored answer to a tell, by its correlation data; kept for kAnswersKept tells.
  [[nodiscard]] virtual tl::expected<void, Error> put_answer(std::string_view correlation,
                                                             std::string_view answer) = 0;
  [[nodiscard]] virtual std::optional<std::string> answer(std::string_view correlation) const = 0;
  // Engine snapshot together with the last input it has applied.
  [[nodiscard]] virtual tl::expected<void, Error> put_snapshot(std::uint64_t sequence,
                                                               std::string_view bytes) = 0;
  [[nodiscard]] virtual tl::expected<void, Error> put_note(std::string_view name,
                                                           std::string_view text) = 0;

  // One model a jar; a jar without one is not there.
  [[nodiscard]] virtual tl::expected<void, Error> put_jar_model(std::string_view jar,
                                                                std::string_view bytes) = 0;
  [[nodiscard]] virtual tl::expected<void, Error> remove_jar_model(std::string_view jar) = 0;
  // Replaces one of the same moment. Thins the jar's older ones: all within kCheckpointsKept before
  // its newest stay, beyond that the first of each month (UTC).
  [[nodiscard]] virtual tl::expected<void, Error> put_jar_checkpoint(std::string_view jar,
                                                                     Instant at,
                                                                     std::string_view bytes) = 0;
  // All at or after `from`: what followed will be computed anew.
  [[nodiscard]] virtual tl::expected<void, Error> remove_jar_checkpoints(std::string_view jar,
                                                                         Instant from) = 0;

  // Replaces one of the same day.
  [[nodiscard]] virtual tl::expected<void, Error> put_jar_day(std::string_view jar,
                                                              const StoredJarDay& day) = 0;
  // All from `first` on.
  [[nodiscard]] virtual tl::expected<void, Error> remove_jar_days(std::string_view jar,
                                                                  std::int64_t first) = 0;

  struct Snapshot {
    std::uint64_t sequence = 0;  // 0: none yet
    std::string bytes;
  };
  [[nodiscard]] virtual Snapshot snapshot() const = 0;
  // As Reader's.
  [[nodiscard]] virtual std::optional<std::string> note(std::string_view name) const = 0;
  [[nodiscard]] virtual std::vector<OutboxMessage> outbox() const = 0;  // in order of writing
  [[nodiscard]] virtual std::vector<Placement> placements() const = 0;
  [[nodiscard]] virtual std::vector<JournalEntry> journal() const = 0;
  [[nodiscard]] virtual std::vector<StoredAlert> alerts(bool open_only) const = 0;
  [[nodiscard]] virtual std::optional<Instant> newest_measured() const = 0;
  [[nodiscard]] virtual std::vector<StoredJarModel> jar_models() const = 0;  // by jar
  // The newest checkpoint of the jar at or before `at`.
  [[nodiscard]] virtual std::optional<StoredJarCheckpoint> jar_checkpoint_before(
      std::string_view jar, Instant at) const = 0;
  // The first failure of a call above that returns no error of its own: its result was incomplete.
  [[nodiscard]] virtual std::optional<Error> fault() const { return std::nullopt; }
  // Moves finished days (UTC) that ended at or before `before` from rows into blocks, at most
  // `most` of them; returns how many. Days that got late readings since are folded again, though
  // not for each reading: with the next day, or when many have come. Precondition: no transaction.
  [[nodiscard]] virtual tl::expected<std::size_t, Error> fold_days(Instant before,
                                                                   std::size_t most) = 0;
  // Removes folded days that ended at or before `before` for good, at most `most` of them; returns
  // how many. Nothing but readings goes. Precondition: no transaction.
  [[nodiscard]] virtual tl::expected<std::size_t, Error> forget_days(Instant before,
                                                                     std::size_t most) = 0;
};

inline constexpr int kAnswersKept = 1000;
// Longer than a month, so that what was told late about the last one starts from a day's
// checkpoint.
inline constexpr Duration kCheckpointsKept = std::chrono::days(35);

// The file itself where `history` is a symbolic link, also to one that is not there: whatever name
// it goes by, its lock and its inbox are the same.
[[nodiscard]] std::filesystem::path real_history(const std::filesystem::path& history);

// Where things stand beside the history file.
[[nodiscard]] std::filesystem::path inbox_folder(const std::filesystem::path& history);
[[nodiscard]] std::filesystem::path lock_file(const std::filesystem::path& history);
[[nodiscard]] std::filesystem::path socket_file(const std::filesystem::path& history);

}  // namespace torpor::daemon
