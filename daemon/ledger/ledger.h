// The ledger: jars, their places over time and who told what. State is derived from the journal and
// from nothing else: feeding the same entries to a new Ledger gives the same state. No I/O: the
// strand writes the entries it returns.
#pragma once

#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <set>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/history/store.h"
#include "daemon/ledger/name_index.h"
#include "daemon/ledger/sensor_checks.h"
#include "daemon/ledger/sentence.h"
#include "rules/watch/watch.h"

namespace torpor::daemon {

struct Stay {  // [from, to); to nullopt: still there
  std::string place;
  Instant from;
  std::optional<Instant> to;
  friend bool operator==(const Stay&, const Stay&) = default;
};

// What was done to a jar, or seen of it, that its model takes. Moves are stays.
struct JarEvent {
  Instant at;
  std::uint64_t entry = 0;  // of the journal
  std::variant<rules::culture::Act, rules::culture::Observation> what;
  friend bool operator==(const JarEvent&, const JarEvent&) = default;
};

// A jar that was filled from another: what it holds is that jar's culture as it was then.
struct SplitOff {
  std::string from;
  Grams contents;
  Instant at;
  friend bool operator==(const SplitOff&, const SplitOff&) = default;
};

struct Jar {
  NewJar made;                    // as registered; `made.jar` spelled as first registered
  Instant registered_at;          // happened-at of the registration: first stay's begin
  std::uint64_t entry = 0;        // of the journal that registered it
  std::optional<SplitOff> split;  // its figures in `made` are its share of the other's
  std::vector<Stay> stays;        // in order, without overlap
  std::vector<JarEvent> events;   // by time, then by entry; what was withdrawn is not among them
  std::optional<Instant> retired_at;
  bool parent_worked_in_sugar = false;  // one that it was made from: see worked_in_sugar()
  // What the model knows of how it was made.
  [[nodiscard]] rules::culture::JarRecipe recipe() const;
  // Closed date if told, else the start of the first stay.
  [[nodiscard]] Instant closed() const;
  // The stay that holds `t`; nullptr: before the first, or retired.
  [[nodiscard]] const Stay* stay_at(Instant t) const;
  friend bool operator==(const Jar&, const Jar&) = default;
};

struct Collection {
  NewCollection made;       // `made.collection` spelled as first told
  Instant gathered;         // `gathered` if told, else when it was told
  std::uint64_t entry = 0;  // of the journal
  friend bool operator==(const Collection&, const Collection&) = default;
};

struct Portion {  // what was taken out of a jar, and what for
  std::uint64_t entry = 0;
  Instant at;
  Grams contents;
  std::string purpose;  // empty: not said
  std::string into;     // the jar it was split off into; empty: none
  friend bool operator==(const Portion&, const Portion&) = default;
};

// How every answer begins that refuses a sentence; the command knows a refusal by it.
inline constexpr std::string_view kNotRecorded = "not recorded: ";

// A jar whose model is worked out anew because of what was told: how it stood until then.
struct RevisedJar {
  std::string jar;
  std::string was;  // "dormant, use: yes"; empty: it did not exist
  friend bool operator==(const RevisedJar&, const RevisedJar&) = default;
};

// What a told sentence led to.
struct Told {
  std::vector<JournalEntry> entries;  // to write; empty for `ask` and `seen`
  std::vector<rules::Input> inputs;   // for the engine, in order
  std::string answer;  // one line, but for what revised_text() and standings_text() add to it
  std::vector<RevisedJar> revised = {};
  std::vector<std::string> jars = {};  // whose standing follows the answer
  std::string brief = {};  // of a new jar, in a list of many: what is wrong with it; empty: nothing
};
// An answer and what follows it: whole sentences that begin with a blank.
[[nodiscard]] std::string followed_by(std::string answer, const std::string& sentences);

// What the ledger asks of the world to answer `ask` and to check places.
class LedgerView {
 public:
  virtual ~LedgerView() = default;
  [[nodiscard]] virtual std::vector<std::string> places() const = 0;
  [[nodiscard]] virtual std::string describe_jar(const Jar& jar) const = 0;  // one line each
  [[nodiscard]] virtual std::string describe_place(std::string_view place) const = 0;
  [[nodiscard]] virtual std::string describe_sensor(std::string_view sensor) const = 0;
  [[nodiscard]] virtual std::vector<ToldSensor> sensors() const = 0;
  [[nodiscard]] virtual std::vector<rules::Alert> open_alerts() const = 0;
  // How the jar stands at the engine's now; nullopt: it knows none of that id, or it was retired.
  [[nodiscard]] virtual std::optional<rules::Standing> standing(std::string_view jar) const = 0;
  // What is to be done, most urgent first: see Watch::todo().
  [[nodiscard]] virtual std::string todo() const = 0;
  // A copy of the jar's model at the engine's now, to say what an act leads to; nullopt: it has
  // none.
  [[nodiscard]] virtual std::optional<rules::culture::JarModel> model(
      std::string_view jar) const = 0;
  // The culture's figures for jars of a stage, to say what a mix comes to; the built-in ones unless
  // a view knows others. Never null.
  [[nodiscard]] virtual std::shared_ptr<const rules::culture::Profile> profile(
      std::string_view stage) const;
};

// How the jars stand, to follow an answer: " B-07 (pantry): dormant, use: yes. Nothing to do. ...".
[[nodiscard]] std::string standings_text(const std::vector<std::string>& jars,
                                         const LedgerView& view);
// What a revision changed, to follow an answer: as standings_text(), with how it stood before. With
// `worked_out` false only how the jars stood until now, and how to ask.
[[nodiscard]] std::string revised_text(const std::vector<RevisedJar>& revised,
                                       const LedgerView& view, bool worked_out);

class Ledger {
 public:
  // Jar ids are compared without case; where unambiguous also without dash and leading zeros.
  // nullptr: no such jar, or several.
  [[nodiscard]] const Jar* find(std::string_view id) const;
  [[nodiscard]] const NameIndex& jar_names() const { return jar_names_; }
  [[nodiscard]] const NameIndex& names() const { return names_; }  // of jars and collections
  [[nodiscard]] const std::map<std::string, Jar>& jars() const;    // by id as registered
  // Jars standing at or below a place at `t`.
  [[nodiscard]] std::vector<std::string> jars_at(std::string_view place, Instant t) const;

  // By sensor, as configured when it was told.
  [[nodiscard]] const ChecksBySensor& sensor_checks() const { return sensor_checks_; }
  // What follows from their results.
  [[nodiscard]] const Calibrations& calibrations() const { return calibrations_; }

  [[nodiscard]] const std::map<std::string, Collection>& collections() const;
  // Jars made from a jar or collection, id as registered.
  [[nodiscard]] std::vector<std::string> jars_from(std::string_view id) const;
  // By time; what was withdrawn is not among them.
  [[nodiscard]] std::vector<Portion> taken_from(std::string_view jar) const;
  // What made a jar unfit for use: found in it, or else in one that it was made from or split off
  // from, whether before or after; nullopt: nothing that counts.
  [[nodiscard]] std::optional<rules::Spoilage> spoilage_of(const Jar& jar) const;
  // The jars it was split off from, nearest first; empty: it was not.
  [[nodiscard]] std::vector<Jar> split_line(const Jar& jar) const;

  // The entry that withdrew an entry; nullopt: it counts.
  [[nodiscard]] std::optional<std::uint64_t> withdrawn_by(std::uint64_t entry) const;
  // Numbers of the journal's entries about a jar, id as registered: also those withdrawn, and their
  // withdrawals.
  [[nodiscard]] std::set<std::uint64_t> entries_about(std::string_view jar) const;

  // Carries out a sentence told at `now` (engine time, for what happened) and `wall` (recorded).
  // Refusals record nothing, also of several jars in one sentence. `at` and `closed` may not lie
  // ahead of `now`, nor before 2000. A new jar happened when its first stay began: at `at`, else
  // its closed date, else `now`. The state changes at once: whoever may fail to write the entries
  // tells a copy and keeps it after the commit.
  [[nodiscard]] tl::expected<Told, SentenceRefusal> tell(const Sentence& sentence,
                                                         std::string_view text, Instant now,
                                                         Instant wall, const LocalTime& zone,
                                                         const LedgerView& view);
  // Records what came of a check that waited, measured up to `now`; nothing to write where none
  // waits any more. The answer is a line for a person.
  [[nodiscard]] Told end_check(const rules::FinishedCheck& finished, Instant now, Instant wall);
  // The clock was wrong (daemon/clock/room_clock.h): what was noted meanwhile is dated anew, by an
  // entry that can be withdrawn. There is always an entry; the answer is a clause: "2 entries".
  [[nodiscard]] Told date_anew(Instant from, Duration by, Instant now, Instant wall);
  // When what an entry tells of happened, as it counts now; nullopt: no such entry.
  [[nodiscard]] std::optional<Instant> happened_at(std::uint64_t entry) const;
  // Applies one entry of the journal (at start, in number order). Error: what is wrong with the
  // entry; the state is as before, but its number is not used again.
  [[nodiscard]] tl::expected<void, std::string> replay(const JournalEntry& entry);
  // The engine inputs that tell which checks wait, and every jar as it stands: where, what is in
  // it, and what was done and seen, in order of time for each; for an engine without a snapshot.
  [[nodiscard]] std::vector<rules::Input> placements() const;

 private:
  struct Telling;   // who tells what and when
  struct DeedTold;  // what came of a deed for one jar

  struct Recorded {  // an entry that counted, or would but for its withdrawal
    Instant happened_at;
    Act act;
    std::string sentence;
    std::optional<std::uint64_t> withdrawn_by;
    Instant recorded_at;
    // As it was first written, if it was dated anew.
    struct Noted {
      Instant happened_at;
      Act act;
    };
    std::optional<Noted> noted = std::nullopt;
  };

  tl::expected<Told, SentenceRefusal> tell_one(const NewJar& jar, const Telling& telling);
  tl::expected<Told, SentenceRefusal> tell_one(const NewCollection& collection,
                                               const Telling& telling);
  tl::expected<Told, SentenceRefusal> tell_one(const SplitJar& split, const Telling& telling);
  tl::expected<Told, SentenceRefusal> tell_one(const MoveJar& move, const Telling& telling);
  tl::expected<Told, SentenceRefusal> tell_one(const JarDeed& told, const Telling& telling);
  tl::expected<Told, SentenceRefusal> tell_one(const WithdrawEntry& withdraw,
                                               const Telling& telling);
  tl::expected<Told, SentenceRefusal> tell_one(const DeferAlert& defer, const Telling& telling);
  tl::expected<Told, SentenceRefusal> tell_one(const SeenAlert& seen, const Telling& telling);
  tl::expected<Told, SentenceRefusal> tell_one(const Ask& ask, const Telling& telling);
  tl::expected<Told, SentenceRefusal> tell_one(const BeginCheck& begin, const Telling& telling);
  tl::expected<Told, SentenceRefusal> tell_one(const EndCheck& end, const Telling& telling);
  tl::expected<Told, SentenceRefusal> tell_one(const DateAnew& anew, const Telling& telling);
  tl::expected<Told, SentenceRefusal> withdraw_dates(const WithdrawEntry& withdraw,
                                                     const Recorded& recorded,
                                                     const Telling& telling);
  tl::expected<Told, SentenceRefusal> withdraw_check(const WithdrawEntry& withdraw,
                                                     const Recorded& recorded,
                                                     const Telling& telling);
  tl::expected<Told, SentenceRefusal> tell_move(const std::string& id, const std::string& place,
                                                Instant at, const Telling& telling);
  tl::expected<Told, SentenceRefusal> tell_moves(const std::vector<std::string>& ids,
                                                 const std::string& place, Instant at,
                                                 const Telling& telling);
  tl::expected<DeedTold, SentenceRefusal> tell_deed(const std::string& id, const Deed& deed,
                                                    Instant at, bool one_of_several,
                                                    const Telling& telling);
  // The ids of the jars that `first` and the sentence's further targets mean. The examples as in
  // name_meant().
  [[nodiscard]] tl::expected<std::vector<std::string>, SentenceRefusal> jars_meant(
      std::string_view first, Instant at, std::string_view example_before,
      std::string_view example_behind, const Telling& telling) const;

  // Why no jar or collection of this id can be new; nullopt: it can.
  [[nodiscard]] std::optional<SentenceRefusal> taken_id(std::string_view id, std::string_view what,
                                                        const LocalTime& zone) const;
  // The ids as registered of what `made` comes from, all older than it.
  [[nodiscard]] tl::expected<std::vector<std::string>, SentenceRefusal> parents_meant(
      const NewJar& made, Instant closed, const LocalTime& zone) const;
  // Why the entry must stand, and what to do; nullopt: it can be withdrawn.
  [[nodiscard]] std::optional<std::string> cannot_be_withdrawn(std::uint64_t number) const;
  // What stands of a jar after something about it was withdrawn that happened at `since`.
  void add_withdrawn(const std::string& id, const Jar* before, Instant since,
                     const Telling& telling, Told& told) const;
  // What spoils these jars and all that was made from them, as it counts now, before the other
  // inputs: no alert of theirs may ask for anything else in between.
  void add_spoilage_inputs(const std::vector<std::string>& jars, Told& told) const;
  [[nodiscard]] std::vector<std::string> with_descendants(std::vector<std::string> jars) const;
  // "B2 is not for use: black growth was found in it (entry 8). Keep it ..."; empty: it is not
  // spoiled.
  [[nodiscard]] std::string spoiled_warning(const std::string& jar) const;
  // What was told changes jars that were split off from these, later: the engine hears of them.
  void add_split_inputs(Told& told) const;
  // What was told changes jars that were made from these: whether their culture works in sugar.
  void add_work_inputs(Told& told) const;

  // Live and replayed acts change the state here and nowhere else. Error: one clause, no change.
  tl::expected<void, std::string> apply(const JournalEntry& entry, const Act& act);
  tl::expected<void, std::string> apply_one(const NewJar& jar, const JournalEntry& entry);
  tl::expected<void, std::string> apply_one(const NewCollection& collection,
                                            const JournalEntry& entry);
  tl::expected<void, std::string> apply_one(const SplitJar& split, const JournalEntry& entry);
  tl::expected<void, std::string> apply_one(const MoveJar& move, const JournalEntry& entry);
  tl::expected<void, std::string> apply_one(const JarDeed& told, const JournalEntry& entry);
  tl::expected<void, std::string> apply_one(const WithdrawEntry& withdraw,
                                            const JournalEntry& entry);
  tl::expected<void, std::string> apply_one(const BeginCheck& begin, const JournalEntry& entry);
  tl::expected<void, std::string> apply_one(const EndCheck& end, const JournalEntry& entry);
  tl::expected<void, std::string> apply_one(const DateAnew& anew, const JournalEntry& entry);
  // What these entries tell, after their dates have changed; and what the engine has to hear of it.
  void derive_entries(const DateAnew& anew);
  [[nodiscard]] std::vector<rules::Input> inputs_of_entries(const DateAnew& anew) const;
  // The two sides of a split.
  tl::expected<void, std::string> take_split(const SplitJar& split, const JournalEntry& entry);
  tl::expected<void, std::string> register_split(const SplitJar& split, const JournalEntry& entry);
  // The jar with this id, compared without case; nullptr: none.
  [[nodiscard]] const Jar* with_id(std::string_view id) const;
  // The one jar an id means. The examples as in name_meant().
  [[nodiscard]] tl::expected<const Jar*, SentenceRefusal> jar_meant(
      std::string_view id, std::string_view example_before, std::string_view example_behind) const;
  void strike(const std::string& id);
  // A jar's state from its entries, those withdrawn left out.
  void derive(const std::string& id);
  // The shares of the jars that were split off from it, and of those split off from them.
  void share_out(const std::string& id);
  // What is made from a jar that works in sugar works in it, too: of jars about which something was
  // told, and of what was made from them.
  void pass_on_work(const std::vector<std::string>& concerned);
  void derive_checks(const std::string& sensor);

  [[nodiscard]] JournalEntry entry_of(const Act& act, Instant happened_at,
                                      const Telling& telling) const;

  using Ids = std::set<std::string>;
  // The jar and all that were split off from it, and from those.
  [[nodiscard]] Ids with_split_off(const std::string& id) const;
  void pass_on_work_to(const std::string& id, std::vector<std::string>& next);

  std::map<std::string, Jar> jars_;
  ChecksBySensor sensor_checks_;
  Calibrations calibrations_;
  std::map<std::string, Collection> collections_;
  std::map<std::uint64_t, Recorded> recorded_;
  std::set<std::string> unregistered_;  // ids of jars whose registration was withdrawn
  std::uint64_t next_entry_ = 1;

  // ---- found in these, so that a sentence costs the same however many jars there are
  NameIndex jar_names_, names_;
  std::map<std::string, Ids, std::less<>> made_from_;  // made or split off, by parent
  std::map<std::string, std::set<std::uint64_t>, std::less<>> about_;  // entries, by jar

  // ---- of one sentence
  std::uint64_t told_from_ = 1;              // its first entry
  std::map<std::string, bool> was_working_;  // parent_worked_in_sugar, where it has changed
};

}  // namespace torpor::daemon
