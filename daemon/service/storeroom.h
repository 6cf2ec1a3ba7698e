// One storeroom's state and the only way to change it: numbered inputs from the inbox are applied
// in order to the ledger and the engine, and all that follows is committed together. The service,
// the import of readings into a stopped service and the tests all drive this one class; it knows no
// socket, no thread and no clock but the times in its inputs. Strand only, but for inbox().
//
//   inbox record -> known already? -> ledger (tells) -> watch step -> pending -> commit -> outgoing
//
// Restart: open() restores the snapshot of the last commit and applies what the inbox holds beyond
// it, so the alerts are those of an undisturbed run.
#pragma once

#include <cstdint>
#include <deque>
#include <filesystem>
#include <map>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <unordered_map>
#include <vector>

#include <tl/expected.hpp>

#include "config/settings.h"
#include "daemon/clock/room_clock.h"
#include "daemon/history/inbox.h"
#include "daemon/history/open_history.h"
#include "daemon/history/store.h"
#include "daemon/ledger/ledger.h"
#include "daemon/service/jar_records.h"
#include "daemon/service/jar_standings.h"
#include "daemon/service/live_view.h"
#include "daemon/service/load_settings.h"
#include "daemon/service/reception.h"
#include "daemon/service/recomputation.h"
#include "daemon/service/tell_rate.h"
#include "rules/watch/watch.h"

namespace torpor::daemon {

// Where the inbox goes while the history's disk cannot be written: memory-backed, found by readers
// in other processes by the same rule.
[[nodiscard]] std::filesystem::path spool_folder(const std::filesystem::path& history);

struct StoreroomSettings {
  config::Settings settings;
  rules::RuleBook book;
  LocalTime zone;
  std::filesystem::path history;  // the SQLite file
  std::filesystem::path spool;    // memory-backed folder; empty: none
  std::filesystem::path marker;   // what knows that there was a history; empty: nothing does
  std::filesystem::path copies;   // folder of the second nightly copy; empty: none
  bool may_stand_in = true;       // for a history that is away
  std::string found_damage = {};  // that keeps the history from being written: it is replaced
};

[[nodiscard]] StoreroomSettings storeroom_settings(const Loaded& loaded);
[[nodiscard]] HistoryPlace history_place(const StoreroomSettings& settings);
// What the engine of such a storeroom is made with.
[[nodiscard]] rules::WatchSettings watch_settings(const StoreroomSettings& settings,
                                                  const Calibrations& calibrations);

// What became of accepted readings; for the service topic.
struct ReadingCounters {
  std::uint64_t fresh = 0;
  std::uint64_t known = 0;        // repeated: same key, same value, or a redelivery
  std::uint64_t conflicting = 0;  // same key, other value: the first stays
  std::uint64_t late = 0;         // among the fresh
  std::uint64_t untrusted = 0;    // among the fresh: impossible or not believed
};

// About a tenth of a second on the strand: of thousands of jars the rest is shown a little later,
// and readings and tells come in between.
inline constexpr std::size_t kJarsShownAtOnce = 100;

class Storeroom {
 public:
  // Opens history and inbox, restores, and applies what is not yet folded. What is damaged or away
  // does not keep it from watching: one notice says what is lost or at risk and what to do, and
  // trouble() goes on saying it. `wall` names what is set aside, and dates a changed placement when
  // there is no reading to date it by.
  [[nodiscard]] static tl::expected<std::unique_ptr<Storeroom>, Error> open(
      StoreroomSettings settings, Instant wall);
  ~Storeroom();

  // Appending is safe from any thread; hand each appended record to accept().
  [[nodiscard]] Inbox& inbox() { return *inbox_; }

  // What was found wrong at the start, for every command to say; empty: nothing.
  [[nodiscard]] const std::string& trouble() const { return trouble_; }
  // The history is away, and this one stands in for it: until it is opened anew, nothing leaves the
  // inbox.
  [[nodiscard]] bool stands_in() const { return stands_in_; }
  // Entries of the journal, to know when a copy of it is worth making.
  [[nodiscard]] std::uint64_t journal_entries() const { return journal_entries_; }

  // Takes records in any order and applies them in the order of their numbers.
  void accept(InboxRecord record);

  // Writes everything since the last commit in one transaction and drops it from the inbox. On an
  // error nothing is lost: what waited is tried again with the next commit, and watching goes on.
  [[nodiscard]] tl::expected<void, Error> commit();

  // True if something waits that a person or the phone must not wait for.
  [[nodiscard]] bool urgent() const { return urgent_; }
  // Readings that wait for a commit.
  [[nodiscard]] std::size_t waiting_readings() const { return pending_.readings.size(); }
  [[nodiscard]] bool anything_waits() const;

  // Messages to send, each handed out once per run, after the commit that stored them. If commits
  // fail they are handed out all the same: watching goes on.
  [[nodiscard]] std::vector<OutboxMessage> take_outgoing();
  // The broker has acknowledged this message.
  void delivered(const std::string& id);

  // Retained states that have changed since the last call: topic, payload. A jar's is read back
  // from the history and shows what was committed. At most kJarsShownAtOnce jars a call.
  [[nodiscard]] std::vector<std::pair<std::string, std::string>> take_shown(Instant wall);
  // The last call left jars for the next: it need not wait.
  [[nodiscard]] bool shows_more() const { return shows_more_; }
  // Standings of jars are due that the last calls of take_shown() and commit() left.
  [[nodiscard]] bool standings_wait() const { return jar_standings_.more(); }
  // Everything counts as changed: the broker may have forgotten what it was shown.
  void show_all();
  // Every retained topic that has a reason to exist, without the storeroom's prefix.
  [[nodiscard]] std::set<std::string> living_topics() const;

  // A jar whose model has to be worked out anew, once the commit that made it so is done. The
  // record it leads to is appended to the inbox and accepted like any other.
  [[nodiscard]] std::optional<Recomputation> next_recomputation() const;
  // Finished days of a jar that are not stored yet, to be worked out and handed to keep_days().
  [[nodiscard]] std::optional<WantedDays> next_wanted_days() const;
  void keep_days(const WorkedOutDays& worked_out) { jar_records_.take(worked_out); }

  // Engine time of the next timer, for the daemon's tick.
  [[nodiscard]] std::optional<Instant> next_due() const { return watch_.next_due(); }
  // Newest wall time applied.
  [[nodiscard]] Instant wall() const { return wall_; }
  // What the clock of the last run left for this one; nullopt: nothing was ever stamped.
  [[nodiscard]] std::optional<KeptClock> kept_clock() const;
  // For a reception that begins.
  [[nodiscard]] StampsSoFar stamps() const;
  // Measured-at of the newest committed reading.
  [[nodiscard]] std::optional<Instant> newest_measured() const { return store_->newest_measured(); }
  // The first failure met while the history was read: what it was asked for may be incomplete.
  [[nodiscard]] std::optional<Error> history_fault() const {
    return fault_ ? fault_ : store_->fault();
  }
  // Damage that someone else has found.
  void note_damage(const Error& damage) {
    if (!fault_) fault_ = damage;
  }
  [[nodiscard]] const ReadingCounters& readings() const { return readings_; }
  // Who has told most, by the journal as committed.
  [[nodiscard]] std::vector<std::string> regular_tellers() const {
    return regulars_of(store_->journal());
  }

  // A line to the phone about the service itself, sent at least once. `id` names the occasion.
  void notify(const std::string& id, const std::string& line);
  // Answers a tell that was refused before it was recorded.
  void answer(const TellRecord& tell, const std::string& text, const std::string& id);
  // The committed answer to a tell with correlation data.
  [[nodiscard]] std::optional<std::string> answer_given(const TellRecord& tell) const {
    return store_->answer(request_of(tell));
  }
  // Answers that wait for the models that were worked out anew, to say what changed.
  [[nodiscard]] bool holds_answers() const { return !held_.empty(); }
  // They have waited long enough: they go without.
  void release_answers();
  // Keeps a text for readers ("service", ...), with the next commit.
  void keep_note(std::string name, std::string text);

  // Replaces sensors, places and rules; what still exists is carried over. Commits before and
  // after.
  [[nodiscard]] tl::expected<void, Error> reconfigure(config::Settings settings,
                                                      rules::RuleBook book, Instant wall);

 private:
  struct ReadingKey {
    std::string sensor;
    Quantity quantity;
    Instant measured_at;
    bool operator==(const ReadingKey&) const = default;
  };
  struct ReadingKeyHash {
    std::size_t operator()(const ReadingKey& key) const;
  };
  struct WaitingMessage {
    OutboxMessage message;
    bool handed_out = false;
    bool held = false;  // sent as it is only if a restart comes before what shall be sent
  };
  struct HeldAnswer {
    TellRecord tell;
    std::string id, begins;  // of the message; of the text
    std::vector<RevisedJar> revised;
  };
  // What the next commit writes.
  struct Pending {
    std::vector<Reading> readings;
    std::unordered_map<ReadingKey, Reading, ReadingKeyHash> by_key;
    std::vector<JournalEntry> journal;
    std::map<std::uint64_t, StoredAlert> alerts;
    std::vector<StoredAlertChange> changes;
    std::vector<WaitingMessage> outbox;
    std::vector<std::string> delivered;
    std::vector<std::pair<std::string, std::string>> answers;
    std::map<std::string, std::string> notes;
    std::vector<Placement> placements;
    std::vector<JournalEntry> mended;
    JournalFaults told_faults;
    std::vector<ClockMove> moves;  // of what is stored; what waits here has moved
  };

  Storeroom(StoreroomSettings settings, std::unique_ptr<Store> store);

  [[nodiscard]] tl::expected<void, Error> restore(Instant wall);
  [[nodiscard]] tl::expected<void, Error> replay_journal();
  [[nodiscard]] bool take_snapshot(const Store::Snapshot& saved);
  void begin_without_snapshot(Instant wall);
  void tell_of_inbox_loss();
  void add_trouble(const std::string& sentences);
  void tell_of_trouble(Instant wall);
  void date_placements(Instant wall);
  void date_learned(const rules::LearnedInterval& learned);
  void apply(const InboxRecord& record);
  void apply(const ReadingsRecord& record);
  void apply(const TellRecord& record, std::uint64_t sequence);
  void apply(const ClockMoveRecord& record);
  void move_pending(const ClockMove& move);
  [[nodiscard]] static std::string request_of(const TellRecord& record);
  [[nodiscard]] bool is_repeat(const TellRecord& record);
  [[nodiscard]] bool is_redelivery(const ReadingsRecord& record);
  [[nodiscard]] Stored judge(const Reading& reading);
  void step(Instant wall, const rules::Input& input);
  void take(rules::Effects effects, bool by_readings);
  void end_check(const rules::FinishedCheck& finished);
  void outdate_retired(const rules::Input& input);
  void mark_doubted(const std::vector<rules::DoubtedReading>& doubted);
  void keep_standings();
  void keep_jar_standings();
  void keep_ahead();
  void send(OutboxMessage message);
  void hold(HeldAnswer held);
  void release(const HeldAnswer& held, bool worked_out);
  void release_worked_out();
  [[nodiscard]] bool is_outdated(const std::vector<RevisedJar>& jars) const;
  void give(const TellRecord& tell, const std::string& text, const std::string& id);
  [[nodiscard]] tl::expected<void, Error> write_pending();
  void fold_days();
  void forget_days(Instant newest);
  [[nodiscard]] std::vector<rules::JarModelBytes> stored_models() const;
  [[nodiscard]] std::optional<std::string> shown(const rules::Subject& subject);
  [[nodiscard]] std::string snapshot() const;
  [[nodiscard]] tl::expected<void, std::string> restore_snapshot(std::string_view bytes);

  StoreroomSettings settings_;
  std::optional<WriterLock> lock_;  // of the history's place, while something stands in for it
  bool stands_in_ = false;
  std::string identity_;
  std::string trouble_;
  std::uint64_t journal_entries_ = 0;
  std::unique_ptr<Store> store_;
  std::unique_ptr<Inbox> inbox_;
  Ledger ledger_;
  rules::Watch watch_;
  JarStandings jar_standings_;
  bool state_is_kept_ = false;  // nothing has changed the snapshot since it was written or read
  LiveView view_;               // of the members above

  std::uint64_t applied_ = 0;                   // number of the last record applied
  std::map<std::uint64_t, InboxRecord> early_;  // arrived before their predecessor
  Instant wall_{};  // newest wall time applied; goes back by a clock move only
  Pending pending_;
  bool urgent_ = false;
  std::vector<OutboxMessage> backlog_;  // of the outbox, found at start
  std::vector<HeldAnswer> held_;
  std::set<rules::Subject> touched_;
  std::string todo_shown_;
  bool show_alerts_ = false;
  bool shows_more_ = false;
  std::optional<Error> fault_;  // of a reading of the history that the store does not know of
  JarRecords jar_records_;
  Instant forgotten_through_ = instant_of(0);  // no block is older
  std::map<std::string, Instant> jars_shown_;  // by wall clock
  ReadingCounters readings_;
  std::set<std::string> doubted_sensors_;  // whose newest reading is not believed
  std::string standings_;                  // as last kept for readers
  std::string ahead_ = "{}";               // likewise
  // Redeliveries without a time of their own, told by digest: the last few per sensor; and the last
  // tells without correlation data. Part of the snapshot: a redelivery follows a restart.
  std::map<std::string, std::deque<std::uint64_t>> digests_;
  std::deque<std::string> recent_tells_;
};

}  // namespace torpor::daemon
