// The inside of Watch: what exists (rules, airs, sensors, jars, instances, alerts), which instance
// depends on what, and the timers. core.cpp applies inputs and time, core_time.cpp time that was
// lost or wrong, core_signals.cpp works out
// what rules read, core_calm.cpp leaves alone whom nothing concerns, core_alerts.cpp turns what
// became true into alerts and notices, snapshot.cpp saves and restores.
#pragma once

#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <set>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "rules/watch/advice.h"
#include "rules/watch/air_timeline.h"
#include "rules/watch/alert_life.h"
#include "rules/watch/comparisons.h"
#include "rules/watch/jar_register.h"
#include "rules/watch/jar_track.h"
#include "rules/watch/lately_air.h"
#include "rules/watch/program.h"
#include "rules/watch/readings_clock.h"
#include "rules/watch/rule_instance.h"
#include "rules/watch/sensor_judges.h"
#include "rules/watch/sensor_track.h"
#include "rules/watch/sentences.h"
#include "rules/watch/timers.h"
#include "rules/watch/watch.h"
#include "rules/watch/window_signal.h"

namespace torpor::rules {

class Watch::Core {
 public:
  explicit Core(WatchSettings settings);

  Effects step(Instant wall, const Input& input);

  [[nodiscard]] std::optional<Instant> now() const { return now_; }
  [[nodiscard]] std::optional<Instant> next_due() const;
  [[nodiscard]] std::vector<Alert> open_alerts() const;
  [[nodiscard]] const SensorTrack* track(std::string_view sensor) const;
  [[nodiscard]] std::optional<SensorStanding> standing(std::string_view sensor) const;
  [[nodiscard]] SpokenAir air_at(std::string_view place) const;
  [[nodiscard]] std::optional<culture::JarModel> jar_model(std::string_view jar) const;
  [[nodiscard]] std::optional<Standing> jar_standing(std::string_view jar) const;
  [[nodiscard]] std::string todo() const;
  [[nodiscard]] std::vector<OutdatedJar> outdated_jars() const;
  [[nodiscard]] std::map<std::string, Duration> ahead() const;
  [[nodiscard]] std::string snapshot() const;
  [[nodiscard]] std::vector<JarModelBytes> take_jar_models();
  [[nodiscard]] tl::expected<void, std::string> restore(std::string_view bytes,
                                                        const std::vector<JarModelBytes>& models);

 private:
  struct RunningRule {
    const Rule* rule = nullptr;
    Program program;
    bool of_model = false;                  // asks nothing of the air: new at the jar's looks
    bool of_heat = false;                   // asks how warm it is
    bool of_spoilage = false;               // asks whether the jar is spoiled
    std::set<std::size_t> explains;         // of rules_
    std::vector<std::size_t> slot_airs;     // by slot: the air of its `at` place, or kOwn
    std::vector<std::size_t> slot_windows;  // by slot: into windows_; unused for no window
  };
  static constexpr std::size_t kOwn = static_cast<std::size_t>(-1);

  // Instances that only the comparisons of their subject, and time, can change. While these come
  // out as before, and nothing is due, the instances lie: a reading does not step them, they stand,
  // all together, at `settled`, and one is brought there when it is asked for.
  struct Calm {
    std::vector<std::size_t> members = {};  // of instances_
    Comparisons comparisons = {};
    std::vector<std::size_t> met = {};  // members whose alert stands: its worst may be now
    bool lies = false;
    // ---- while it lies
    Instant settled{};
    Instant until = kNever;  // a comparison may come out otherwise then, should nothing arrive
    Instant firm = kNever;   // something has lasted, or leaves a window, for the first of them
    Instant armed = kNever;  // for `until`
  };

  // The air that one list of speakers speaks for, and who depends on it.
  struct Air {
    AirTimeline timeline;
    LatelyAir lately = {};
    std::vector<std::string> places = {};            // of the layout, that have this air
    std::vector<std::size_t> instances = {};         // of places, and any that name it by `at`
    Calm calm = {};                                  // of places, too
    std::vector<std::size_t> jars = {};              // that stand or stood in it
    std::vector<std::size_t> jar_rules = {};         // jar rules that name it by `at`
    std::map<std::size_t, WindowTrack> tracks = {};  // of those of windows_ that look at it
    // From here on those that count a time are not tracked: it went on as it was.
    std::optional<Instant> untracked = std::nullopt;
  };

  struct Seat {  // a sensor's place among an air's speakers
    std::size_t air = 0;
    std::uint32_t position = 0;
  };

  struct Sensor {
    SensorTrack track;
    std::vector<Seat> seats;
    Calm calm;
    std::vector<std::size_t> instances;  // others
    Instant armed = kNever;
    bool live = false;  // some trusted value holds, as last looked at
  };

  struct Jar {
    std::vector<std::size_t> instances;  // by position in jar_rules_; empty: retired
    std::vector<std::size_t> airs;       // of its stays, one by one
    Instant armed = kNever;
    std::string stage;                   // as told at closing
    std::unique_ptr<JarTrack> track;     // of its model; nullptr: not told what is in it
    Instant headspace_at = kAlways;      // newest headspace reading that was taken in
    std::vector<std::size_t> split_off;  // of jars_: began from this one's model
    std::optional<Spoilage> spoilage;
    struct Said {  // what the last notice about its own alerts asked for
      Remedy remedy = Remedy::look;
      Urgency urgency = Urgency::this_week;
      Instant at;
    };
    std::optional<Said> said;
  };

  struct Instance {
    Instance(std::size_t rule_index, Subject whom, const Program& program)
        : rule(rule_index), subject(std::move(whom)), machine(program) {}
    std::size_t rule = 0;
    Subject subject;
    std::size_t index = 0;       // of its sensor or jar
    std::size_t own_air = kOwn;  // of its place
    RuleInstance machine;
    Calm* calm = nullptr;     // that it is a member of
    bool met = false;         // as the alerts know it
    std::uint64_t alert = 0;  // that it stands in while it is met; 0: none, see unsaid
    // Met, but only because its `until` takes its time after the cause that explained it has gone.
    bool unsaid = false;
    bool stirred = false;    // in stirred_
    bool stepped = false;    // by an input: what a timer's early look sees depends on the restart
    bool gone = false;       // its jar is retired; free for reuse
    Instant due = kNever;    // when it may change by itself
    Instant armed = kNever;  // earliest timer set for it
  };

  struct LinkEvent {
    Instant at;
    bool connected = false;
  };

  // A clock that was set is news for a day.
  static constexpr Duration kStepRemembered = std::chrono::hours(24);
  // A figure of the board from `at` on.
  struct BoardFigure {
    Instant at;
    double value = 0.0;
  };

  // ---- core.cpp: what exists
  void build_rules();
  void build_airs();
  void build_windows(RunningRule& rule);
  void look_through(std::size_t window, std::size_t air);
  void build_instances();
  std::size_t add_air(std::vector<std::size_t> speakers);
  [[nodiscard]] std::size_t air_of(std::string_view place) const;
  std::size_t add_instance(std::size_t rule, Subject subject, std::size_t index,
                           std::size_t own_air);
  void add_jar_instances(std::size_t jar);
  void retire(std::size_t jar);

  // ---- core.cpp: inputs
  void advance_to(Instant t);
  void begin();
  void apply(const ReadingsInput& input);
  void apply(const JarPlacedInput& input);
  void apply(const JarRetiredInput& input);
  void apply(const JarClosedInput& input);
  void apply(const JarActInput& input);
  void apply(const JarObservedInput& input);
  void apply(const JarSpoiledInput& input);
  void apply(const JarOutdatedInput& input);
  void apply(const JarModelInput& input);
  void apply(const SeenInput& input);
  void apply(const DeferInput& input);
  void apply(const LinkInput& input);
  void apply(const DiskInput& input);
  void apply(const ClockSteppedInput& input);
  void apply(const ClockMovedInput& input);
  void step_service();
  void apply(const CheckBegunInput& input);
  void apply(const CheckAbandonedInput& input);
  void apply(const SensorCheckedInput& input);
  void apply(const CheckWithdrawnInput& input);
  void apply(const TickInput&) {}
  struct SensorReading {
    const Reading* reading = nullptr;
    std::size_t sensor = 0;
  };
  void apply_moment(std::span<const SensorReading> readings);
  [[nodiscard]] Instant carried_to(std::span<const SensorReading> readings);
  void apply_reading(const Reading& reading, std::size_t sensor);
  [[nodiscard]] bool believe(std::size_t sensor, const Reading& reading);
  void outdate_by_check(std::size_t sensor, Instant from);
  void step_air(std::size_t air, Instant at);
  void track_window(std::size_t window, WindowTrack& track, AirTimeline& air, Instant at) const;
  void step_jar(std::size_t jar, std::size_t air, Instant at);
  void step_instance(std::size_t instance, Instant at);
  void stir(std::size_t instance);

  // ---- core_calm.cpp
  void step_sensor(std::size_t sensor, Instant at);
  [[nodiscard]] bool stays_calm(Calm& calm, Instant at, const Comparisons::Outcome& outcome);
  void step_members(Calm& calm, Instant at, const Comparisons::Outcome& outcome);
  void rouse(Calm& calm);
  void catch_up(Instance& instance) const;
  void track_windows(Air& air, Instant at, bool is_calm);
  void track_rest(Air& air) const;
  [[nodiscard]] static Instant calm_until(const Calm& calm);
  static void set_met(std::size_t at, Instance& instance, std::optional<std::uint64_t> alert);

  // ---- core_signals.cpp
  const std::vector<Signal>& signals_at(const Instance& instance, Instant t) const;
  Signal slot_signal(const Instance& instance, std::size_t slot, Instant t) const;
  Signal signal_at(const Instance& instance, const QuantityAt& quantity, std::size_t slot_air,
                   Instant t) const;
  Signal window_signal_at(const Instance& instance, std::size_t slot, Instant t) const;
  Signal air_signal(std::size_t air, RuleQuantity quantity, Instant t) const;
  [[nodiscard]] Signal sensor_signal(std::size_t sensor, RuleQuantity quantity, Instant t) const;
  [[nodiscard]] Signal spoiled_signal(std::size_t jar, Instant t) const;
  Signal link_signal(Instant t) const;
  [[nodiscard]] Signal disk_signal(Instant t) const;
  [[nodiscard]] Signal clock_signal(Instant t) const;
  std::size_t jar_air_at(std::size_t jar, Instant t, Instant& until) const;
  [[nodiscard]] std::optional<std::size_t> stay_index(std::size_t jar, Instant t) const;
  RuleInstance::Head head_of(Instance& instance) const;

  // ---- core_jars.cpp
  [[nodiscard]] Signal model_signal(std::size_t jar, RuleQuantity quantity, Instant t) const;
  [[nodiscard]] JarAir air_of_jar(std::size_t jar) const;
  void tell_track(std::size_t jar, const JarTold& told);
  void probe_jar(const SensorSpec& sensor, const Reading& reading);
  [[nodiscard]] Instant needed_of(std::size_t air) const;
  void settle_track(std::size_t jar);
  void give_up_waiting(std::size_t jar);
  [[nodiscard]] Instant gives_up_at(std::size_t jar, Instant t) const;
  void outdate_track(std::size_t jar, Instant from);
  [[nodiscard]] OutdatedJar outdated_jar(std::size_t jar) const;
  [[nodiscard]] std::optional<culture::JarModel> model_split_off(const JarClosedInput& input) const;
  void outdate_split_off(std::size_t jar, Instant from);
  void outdate_jars_in(std::size_t air, Instant at);
  void step_jar_rules(std::size_t jar, Instant from);
  [[nodiscard]] Instant settled_horizon(std::size_t jar) const;

  // ---- core_time.cpp
  void pass_to(Instant t);
  void leap_to(Instant t);
  void say_what_stands();
  struct Shift;
  void shift_signals(const Shift& shift);
  void shift_alerts(const Shift& shift);

  // ---- core.cpp: time
  void run_timers_before(Instant t);
  void settle();
  void fire(Instant t);
  void look_at_sensor(std::size_t sensor);
  void look_at_jar(std::size_t jar);
  [[nodiscard]] Instant next_look_at_jar(std::size_t jar, Instant t) const;
  void arm(TimerOwner owner, std::size_t index, Instant due);
  Instant& armed(const Timer& timer);
  [[nodiscard]] Instant true_due(const Timer& timer) const;
  [[nodiscard]] Instant next_timer();
  [[nodiscard]] Instant first_due() const;

  // ---- core_alerts.cpp
  void react();
  void react_once();
  void react_to(const std::vector<std::size_t>& changed);
  void end_orphans();
  void run_alert_timers();
  void deliver(const std::vector<std::pair<std::uint64_t, NoticeKind>>& due);
  void refresh_jars();
  void describe(OpenAlert& open);
  [[nodiscard]] std::string reason_behind(const Instance& instance) const;
  [[nodiscard]] std::vector<std::string> jars_of(const OpenAlert& open) const;
  [[nodiscard]] bool concerns_no_jar(const OpenAlert& open) const;
  [[nodiscard]] bool nearer_sensor_speaks(std::string_view from, std::string_view to) const;
  [[nodiscard]] Instance* instance_of(const std::string& rule, const Subject& subject) const;
  void emit(AlertChangeKind kind, const Alert& alert);
  void send_notice(OpenAlert& open, NoticeKind kind, const std::vector<std::string>& likewise = {});
  [[nodiscard]] bool is_passing(const Instance& instance) const;
  void note_said(const Alert& alert);
  [[nodiscard]] bool was_said(const Alert& alert) const;
  [[nodiscard]] ReadSignal reader_of(const Instance& instance, Instant t) const;
  [[nodiscard]] Instance* spoken_of(const OpenAlert& open) const;
  void see(std::uint64_t number, const std::string& by);
  [[nodiscard]] Duration hold_of(std::size_t sensor) const;
  void touch(SubjectKind kind, std::string_view id);
  void touch_air(std::size_t air);
  void report_touched();

  // ---- core_desk.cpp
  [[nodiscard]] std::optional<std::uint64_t> explainer_of(const Instance& instance) const;
  void explain(std::size_t instance, std::uint64_t alert);
  void absorb_symptoms(std::uint64_t alert);
  void release_symptoms(const std::vector<Symptom>& symptoms);
  void release_those_gone(Alert& alert);
  void drop_symptom(std::uint64_t alert, const Instance& instance);
  [[nodiscard]] bool is_symptom(const Instance& instance) const;
  [[nodiscard]] std::optional<std::uint64_t> stands_in(const std::string& rule,
                                                       const Subject& subject) const;
  [[nodiscard]] std::optional<std::size_t> jar_instance(const std::string& jar,
                                                        const std::string& rule) const;
  void describe_symptoms(Alert& alert) const;
  [[nodiscard]] std::vector<StandingAlert> alerts_of_jar(std::size_t jar) const;
  [[nodiscard]] bool speaks_for_its_jar(const Alert& alert) const;
  void settle_lines();
  void redescribe(std::size_t jar);
  static constexpr Duration kDeedEvery = std::chrono::hours(1);
  void refresh_deeds();
  void finish(std::uint64_t alert);
  [[nodiscard]] std::string todo_line(const Alert& alert) const;

  // ---- core_advice.cpp
  // A place under a roof, by its index in the layout, and its air.
  struct Shelter {
    std::size_t place = 0, air = 0;
  };
  void find_shelters();
  // A jar that was to sleep for a month and now for less than this is somebody's work today.
  static constexpr double kTodayBelow = 14.0 * 86400.0;  // s
  [[nodiscard]] std::optional<LatelyAir::Air> air_now(std::size_t air) const;
  [[nodiscard]] std::vector<std::string> by_time_to_wake(
      const std::vector<std::string>& jars) const;
  [[nodiscard]] std::vector<AirElsewhere> elsewhere_than(std::size_t own) const;
  void advise_on(Alert& alert, const RunningRule& running, std::string_view place) const;
  // Its cover, as last told, lets no gas out.
  [[nodiscard]] bool holds_gas(std::size_t jar) const;
  void note_worst(const Instance& instance);
  [[nodiscard]] Urgency urgency_of(const Instance& instance) const;
  void consider_urgency(const Instance& instance);

  // ---- snapshot.cpp
  [[nodiscard]] nlohmann::json instance_json(Instance& instance) const;
  void load(const nlohmann::json& root, const std::vector<JarModelBytes>& models);
  [[nodiscard]] nlohmann::json clock_json() const;
  void load_clock(const nlohmann::json& saved);
  [[nodiscard]] nlohmann::json track_json(std::size_t jar) const;
  using ModelsByJar = std::map<std::string_view, const JarModelBytes*>;
  // What the values of a saved look are of; nullopt: a figure that is no more.
  using FigureOrder = std::vector<std::optional<RuleQuantity>>;
  void load_track(std::size_t jar, const nlohmann::json& saved, const FigureOrder& figures,
                  const ModelsByJar& models);
  void load_jars(std::vector<JarRecord> jars);
  void load_instances(const nlohmann::json& root);
  void begin_anew(std::size_t instance);
  void seed(AirTimeline& timeline);
  void load_tracks(const nlohmann::json& saved, Air& air);

  // ---- constant after construction
  WatchSettings settings_;
  Duration reach_{};  // how far back timelines stay exact
  std::vector<RunningRule> rules_;
  std::vector<std::shared_ptr<const Window>> windows_;  // that any rule names, each once
  std::map<std::string, std::size_t, std::less<>> rule_index_;
  std::vector<std::size_t> jar_rules_;  // indices into rules_
  std::map<std::string, std::size_t, std::less<>> sensor_index_;
  std::map<std::vector<std::size_t>, std::size_t> air_index_;                    // by speakers
  std::map<std::string, std::size_t, std::less<>> place_airs_;                   // of the layout
  std::map<std::string, std::vector<std::size_t>, std::less<>> air_sensors_at_;  // by place
  std::vector<Shelter> shelters_;  // those that hold no others first
  std::map<std::pair<std::size_t, std::string>, std::size_t> fixed_instances_;  // rule, id

  // ---- state
  std::optional<Instant> now_;
  mutable std::vector<Air> airs_;  // derived figures are worked out when first asked
  std::vector<Sensor> sensors_;
  ReadingsClock readings_clock_;  // under Clock::readings
  SensorJudges judges_;
  JarRegister register_;
  std::vector<Jar> jars_;
  std::vector<std::unique_ptr<Instance>> instances_;
  std::vector<std::size_t> free_;  // of instances_
  std::vector<std::size_t> service_instances_;
  std::vector<LinkEvent> link_;           // the last few
  std::vector<BoardFigure> disk_free_;    // %, the last few
  std::vector<BoardFigure> clock_steps_;  // s, of the last day
  std::optional<bool> link_before_time_;  // told before there was an engine time
  std::optional<double> disk_before_time_;
  AlertLife alerts_;
  std::vector<Instant> delivered_;      // notices of the last minutes, but of urgency now
  std::optional<Instant> flood_until_;  // those that can wait do until then
  struct Leap {                         // nobody watched
    Instant from, until;
    Instant due;  // when it is said, with what is open then
  };
  std::optional<Leap> leap_;
  Timers timers_;
  bool unbegun_ = true;                   // some sensor is not yet known since when
  std::set<std::size_t> models_changed_;  // of jars_, since they were last taken
  bool orphans_ = false;                  // restored alerts may have lost rule or subject

  // ---- of one step
  Instant wall_{};
  std::optional<Instant> leap_due_;  // on the way through a leap: nothing is said before
  Effects effects_;
  std::vector<SensorReading> ordered_;
  struct {  // by the readings of one moment; may name one twice
    std::vector<std::size_t> sensors;
    std::vector<std::size_t> airs;  // that have changed
  } heard_;
  std::vector<Subject> touched_;  // but jars; may name one twice
  std::set<std::size_t> touched_jars_;
  std::vector<std::size_t> stirred_;
  std::set<std::string> unsettled_places_;  // alerts there or above may list other jars now
  std::set<std::size_t> unsettled_lines_;   // of jars_: which of its alerts speaks may have changed
  std::set<std::size_t> retold_;            // of jars_: what is said of it may have changed
  mutable std::vector<Signal> signals_;
  mutable std::vector<Drift> drifts_;  // of signals_, one by one
  mutable std::vector<WindowPiece> pieces_;
};

}  // namespace torpor::rules
