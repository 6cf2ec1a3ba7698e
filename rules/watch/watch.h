// The engine: numbered inputs in, alert changes and notices out. Deterministic: equal inputs give
// equal alerts, live, after a restart from a snapshot at any point, and in rehearsal. It knows no
// clock but the times in its inputs, does no I/O and is driven from one thread.
//
// Time. Under Clock::wall engine time follows each input's `wall`; under Clock::readings it follows
// the newest measured-at of all readings, less what a sensor's clock is found to be ahead, and
// never beyond `wall` (readings_clock.h). Timers (a `lasting` that is met, a held value that runs
// out, an eased alert that ends, a repeat) fire at their own times, in order, before an input at a
// later time is applied. Where the first of them is overdue by more than a day nobody was there to
// see: one notice says what stands, and the jars are worked out anew (core_time.cpp).
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include <tl/expected.hpp>

#include "rules/book/rule.h"
#include "rules/culture/act.h"
#include "rules/culture/jar_model.h"
#include "rules/culture/profiles.h"
#include "rules/culture/recipe.h"
#include "rules/standing/standing.h"
#include "rules/watch/air_speaker.h"
#include "rules/watch/layout.h"
#include "rules/watch/sensor_standing.h"
#include "sensors/calibration.h"
#include "sensors/check_means.h"

namespace torpor::rules {

enum class Clock { wall, readings };

struct QuietHours {  // local minutes of the day; from > to spans midnight
  int from_minute = 0;
  int to_minute = 0;
};

struct WatchSettings {
  Layout layout;
  RuleBook book;
  culture::Profiles profiles;
  Calibrations calibrations;  // of the checks told so far; those of a snapshot count as well
  Clock clock = Clock::wall;
  std::optional<QuietHours> quiet;
  // Local time minus UTC at an instant; the daemon supplies the zone's rules. Empty: UTC.
  std::function<std::chrono::minutes(Instant)> utc_offset;
  Duration late = std::chrono::hours(1);  // how far back a late reading re-steps its subjects
  Duration reopen_within = std::chrono::hours(1);  // a new raise inside it is the same alert
};

// ---- inputs -----------------------------------------------------------------------------------

// The readings of one message, already de-duplicated against the history. Late ones included.
struct ReadingsInput {
  std::vector<Reading> readings;
};
// A jar stands at a place from `at` on (registration or move); `at` may lie in the past.
struct JarPlacedInput {
  std::string jar;
  std::string place;
  Instant at;
};
struct JarRetiredInput {
  std::string jar;
  Instant at;
};
// What was told of a jar when it was closed: its model begins. Follows its JarPlacedInput; a jar
// without one has no model and its quantities are unknown.
struct JarClosedInput {
  std::string jar;
  std::string stage;  // chooses the culture profile
  culture::JarRecipe recipe;
  // Filled from another jar when it was closed: its model goes on from that one's.
  struct Split {
    std::string from;
    Grams contents;
  };
  std::optional<Split> split = std::nullopt;
};
// What was done to a jar, but for moves and retiring, and what was seen of it. `at` may lie in the
// past.
struct JarActInput {
  std::string jar;
  Instant at;
  culture::Act act;
};
struct JarObservedInput {
  std::string jar;
  Instant at;
  culture::Observation observation;
};
// What spoiled a jar became known, or was withdrawn: nullopt.
struct JarSpoiledInput {
  std::string jar;
  std::optional<Spoilage> spoilage;
};
// Something told about this jar was withdrawn or corrected: its model does not follow from what was
// told any more and is worked out anew.
struct JarOutdatedInput {
  std::string jar;
  Instant from{};  // of the earliest thing concerned; the default: of everything
  // What was told of it from then on, but by no sensor, is forgotten: what stands follows anew.
  bool forgets = false;
};
// A jar's model as it was worked out anew from the history: a snapshot() of it at
// OutdatedJar::until. Of an older revision it is passed over.
struct JarModelInput {
  std::string jar;
  std::uint64_t revision = 0;
  std::string model;
};
// Someone has seen one alert, or all standing ones.
struct SeenInput {
  std::optional<std::uint64_t> alert;
  std::string by;
};
// Someone puts an open alert off: it is not said again before `until`, then it is, as one that
// nobody has seen. Without effect for an alert that is not open and an `until` that is not ahead; a
// later one than kLongestDeferral from now counts as that.
inline constexpr Duration kLongestDeferral = std::chrono::days(7);  // longer would be forgetting it
struct DeferInput {
  std::uint64_t alert = 0;
  Instant until;
  std::string reason;
  std::string by;
};
// The link to the broker was lost or is back; for service rules and the service's state.
struct LinkInput {
  bool connected = false;
};
// How much of the disk that holds the history is free.
struct DiskInput {
  Percent free;
};
// The board's clock was set by so much, either way.
struct ClockSteppedInput {
  Duration by{};
};
// The clock was wrong: engine time from `from` on was that much off. What was stamped by it moves
// by as much, readings without a time of their own included, and jars are worked out anew. Nothing
// under Clock::readings.
struct ClockMovedInput {
  Instant from;
  Duration by{};
};
// A check of a sensor begins. One that lies over a wet salt, or in ice, speaks for no air until the
// check has ended. Replaces one that waits.
struct CheckBegunInput {
  std::string sensor;
  CheckMeans means;
  Instant at;
};
// A check that waits is given up.
struct CheckAbandonedInput {
  std::string sensor;
};
// A check's result counts from its date on; or it is withdrawn.
struct SensorCheckedInput {
  std::string sensor;
  Check check;
};
struct CheckWithdrawnInput {
  std::string sensor;
  Check check;
};
// Nothing but the passing of time: a timer was due.
struct TickInput {};

using Input = std::variant<ReadingsInput, JarPlacedInput, JarRetiredInput, JarClosedInput,
                           JarActInput, JarObservedInput, JarSpoiledInput, JarOutdatedInput,
                           JarModelInput, SeenInput, DeferInput, LinkInput, DiskInput,
                           ClockSteppedInput, ClockMovedInput, CheckBegunInput, CheckAbandonedInput,
                           SensorCheckedInput, CheckWithdrawnInput, TickInput>;

// ---- outputs ----------------------------------------------------------------------------------

enum class SubjectKind { place, jar, sensor, service };
struct Subject {
  SubjectKind kind = SubjectKind::place;
  std::string id;  // place path, jar id, sensor id; empty for service
  friend auto operator<=>(const Subject&, const Subject&) = default;
};

enum class AlertState { standing, eased, ended };

// What an alert explains of a jar: a rule that it meets and that raises no alert of its own.
struct Symptom {
  std::string jar, rule;
  std::string what;  // as Alert::what
  friend auto operator<=>(const Symptom&, const Symptom&) = default;
};

// An alert as it is now. One cause is one alert: it lists its jars and its symptoms.
struct Alert {
  std::uint64_t number = 0;  // never restarts, never reused
  std::string rule;
  Subject subject;
  Urgency urgency = Urgency::this_week;
  AlertState state = AlertState::standing;
  Instant since;      // when the condition was met, in engine time
  Instant raised_at;  // engine time of the raise (of the last one, if it reopened)
  std::optional<Instant> eased_at;
  std::optional<Instant> ended_at;
  std::optional<Instant> seen_at;
  std::string seen_by;
  std::optional<Instant> deferred_until;  // said to nobody before then
  std::string deferred_reason;            // empty: none was given
  std::string what;                       // one plain sentence: what, where, figures
  std::string why;
  std::string outlook;           // what it does to which jar by when; empty: no jar's model knows
  std::vector<Advice> remedies;  // the most helpful first, as of its last change while it stood
  std::vector<std::string> jars;
  std::vector<Symptom> symptoms;  // by jar, then by rule
  std::vector<Figure> figures;
  std::optional<Figure> worst;      // of the first figure, while it stood
  std::optional<Instant> worst_at;  // engine time
  friend bool operator==(const Alert&, const Alert&) = default;
};

// `risen`: its urgency did, as a jar's time to wake fell.
enum class AlertChangeKind { raised, reopened, seen, deferred, eased, ended, updated, risen };
[[nodiscard]] std::string_view alert_change_name(AlertChangeKind kind);
// An alert as the standing of a jar that it concerns sees it.
[[nodiscard]] StandingAlert standing_alert(const Alert& alert);

struct AlertChange {
  AlertChangeKind kind = AlertChangeKind::raised;
  Instant at;   // engine time
  Alert alert;  // whole, after the change
  friend bool operator==(const AlertChange&, const AlertChange&) = default;
};

// One plain UTF-8 line for a phone. `id` is stable across restart and repeated delivery.
struct Notice {
  std::string id;
  std::uint64_t alert = 0;  // 0: about the service itself
  std::string line;
  friend bool operator==(const Notice&, const Notice&) = default;
};

// A jar whose model does not follow from what was told and read: something older than it could take
// back became known. To be worked out anew up to `until`.
struct OutdatedJar {
  std::string jar;
  std::uint64_t revision = 0;
  Instant until;
  Instant from;  // nothing stored of its model at or after this is of use
};

// A reading of this input that is not believed, and why: sensors/trust.h.
struct DoubtedReading {
  std::string sensor;
  Quantity quantity = Quantity::temperature;
  Instant measured_at;
  std::uint16_t doubts = 0;
};

// A check that was waited for has ended. Whoever keeps the record tells the result back with a
// SensorCheckedInput: until then nothing is corrected.
struct FinishedCheck {
  std::string sensor;
  CheckMeans means;
  std::optional<Check> check;  // nullopt: it gave no result
  std::string words;           // one line for a person
};

// How often a sensor speaks whose interval is not given, as learned: in force from the reading
// measured at `from` on, which it holds for.
struct LearnedInterval {
  std::string sensor;
  Instant from;
  Duration interval{}, hold{};
};

inline constexpr std::size_t kLongestTodo = 400;

struct Effects {
  std::vector<AlertChange> changes;
  std::vector<Notice> notices;
  std::vector<OutdatedJar> outdated;  // jars whose model has to be worked out anew
  std::vector<DoubtedReading> doubted;
  std::vector<FinishedCheck> finished;
  std::vector<LearnedInterval> learned;
  std::vector<Subject> touched;  // places, jars and sensors whose shown state may have changed
};

// A jar's model in bytes, as it will never be taken back.
struct JarModelBytes {
  std::string jar;
  Instant at;
  std::string model;
};
class Watch {
 public:
  explicit Watch(WatchSettings settings);
  ~Watch();
  Watch(Watch&&) noexcept;
  Watch& operator=(Watch&&) noexcept;

  // Applies one input. `wall` never goes back (the daemon holds it); timers due by then fire first.
  [[nodiscard]] Effects step(Instant wall, const Input& input);

  // Engine time: the time of the newest thing applied. nullopt before the first input.
  [[nodiscard]] std::optional<Instant> now() const;
  // When the next timer is due in engine time; nullopt: none. Under Clock::wall the daemon feeds a
  // TickInput then; under Clock::readings the readings themselves carry time on.
  [[nodiscard]] std::optional<Instant> next_due() const;

  // Standing and eased alerts, by number.
  [[nodiscard]] std::vector<Alert> open_alerts() const;
  // True if a reading of this sensor and quantity would be late: older than the newest applied one.
  [[nodiscard]] bool is_late(std::string_view sensor, Quantity quantity, Instant measured_at) const;
  // The newest applied reading of a sensor and quantity, trusted or not.
  [[nodiscard]] std::optional<Reading> newest(std::string_view sensor, Quantity quantity) const;
  // The newest applied one that is trusted; it may have ceased to hold.
  [[nodiscard]] std::optional<Reading> newest_trusted(std::string_view sensor,
                                                      Quantity quantity) const;
  // How the judges of trust see it at the engine's now; nullopt: no such sensor.
  [[nodiscard]] std::optional<SensorStanding> standing(std::string_view sensor) const;
  // What its speakers say of a place's air at the engine's now, as the rules see it.
  [[nodiscard]] SpokenAir air_at(std::string_view place) const;

  // A copy of a jar's model at the engine's now; nullopt: none such, or nothing was told of what is
  // in it.
  [[nodiscard]] std::optional<culture::JarModel> jar_model(std::string_view jar) const;

  // The standing of a jar at the engine's now, from its model, its alerts and what spoiled it;
  // nullopt: no such jar, or it was retired.
  [[nodiscard]] std::optional<Standing> jar_standing(std::string_view jar) const;

  // What is to be done now, most urgent first, a line each: "Today: K3 (pantry): Stir ...". At most
  // kLongestTodo bytes, then how many more there are; "Nothing to do." without any. What was put
  // off is left out.
  [[nodiscard]] std::string todo() const;

  [[nodiscard]] std::vector<OutdatedJar> outdated_jars() const;
  // Under Clock::readings: the sensors whose stamps are ahead of the others', and by how much.
  [[nodiscard]] std::map<std::string, Duration> ahead() const;

  // Everything that future steps depend on, as bytes; restore() of it into a Watch with the same
  // settings continues exactly. With changed settings what still exists is carried over: alerts of
  // rules or subjects that are gone are ended at the next step, new rules start unknown.
  //
  // The jars' models are kept beside it, for they are large and change once an hour:
  // take_jar_models() gives those that have changed since it was last asked, and restore() wants
  // the newest of each. A jar whose model is missing, or of another profile, begins as it was
  // closed and is outdated.
  [[nodiscard]] std::string snapshot() const;
  [[nodiscard]] std::vector<JarModelBytes> take_jar_models();
  [[nodiscard]] tl::expected<void, std::string> restore(
      std::string_view bytes, const std::vector<JarModelBytes>& models = {});

 private:
  class Core;
  std::unique_ptr<Core> core_;
};

}  // namespace torpor::rules
