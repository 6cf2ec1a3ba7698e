#include "rules/watch/core.h"

#include <algorithm>
#include <cmath>

namespace torpor::rules {
namespace {

// Lost, back, lost in one moment, and what was before: enough to know the link at any time that a
// service rule has not settled yet.
constexpr std::size_t kMostLinkEvents = 4;
constexpr std::size_t kMostBoardFigures = 8;

// Of the jar itself, not of its air.
bool is_of_jar(Source source) {
  return source == Source::model || source == Source::forecast || source == Source::telling ||
         source == Source::spoilage;
}

std::vector<std::size_t>& each_once(std::vector<std::size_t>& indices) {
  if (indices.size() < 2) return indices;
  std::sort(indices.begin(), indices.end());
  indices.erase(std::unique(indices.begin(), indices.end()), indices.end());
  return indices;
}

// The newest comes last; the oldest goes when there are too many.
template <class Event>
void keep_last(std::vector<Event>& events, const Event& newest, std::size_t most) {
  events.push_back(newest);
  if (events.size() > most) events.erase(events.begin());
}

}  // namespace

// ---- what exists --------------------------------------------------------------------------------

Watch::Core::Core(WatchSettings settings)
    : settings_(std::move(settings)),
      // A late reading reaches back `late` from the newest; an instance that another air has
      // carried ahead of this one asks at most `late` further.
      // A jar's model is taken back by whole looks.
      reach_(settings_.late + std::max<Duration>(settings_.late, JarTrack::kLookEvery)),
      readings_clock_(settings_.layout.sensors.size()),
      judges_(settings_.layout, settings_.book, settings_.calibrations, reach_,
              settings_.clock == Clock::readings),
      alerts_(settings_.reopen_within, settings_.quiet, settings_.utc_offset) {
  build_airs();
  find_shelters();
  build_rules();
  build_instances();
}

void Watch::Core::build_airs() {
  const Layout& layout = settings_.layout;
  sensors_.resize(layout.sensors.size());
  for (std::size_t i = 0; i < layout.sensors.size(); ++i) {
    const SensorSpec& sensor = layout.sensors[i];
    sensor_index_.emplace(sensor.id, i);
    if (sensor.jar.empty() && sensor.senses == Senses::air) {
      air_sensors_at_[sensor.place].push_back(i);
    }
  }
  add_air({});
  std::set<std::string> places;
  for (const PlaceSpec& place : layout.places) places.insert(place.path);
  for (const auto& [place, sensors] : air_sensors_at_) places.insert(place);
  for (const std::string& place : places) {
    const std::size_t air = add_air(speakers_for(layout, place));
    airs_[air].places.push_back(place);
    place_airs_.emplace(place, air);
  }
}

std::size_t Watch::Core::add_air(std::vector<std::size_t> speakers) {
  const auto known = air_index_.find(speakers);
  if (known != air_index_.end()) return known->second;
  const std::size_t index = airs_.size();
  air_index_.emplace(speakers, index);
  for (std::uint32_t position = 0; position < speakers.size(); ++position) {
    sensors_[speakers[position]].seats.push_back({index, position});
  }
  airs_.push_back({AirTimeline(std::move(speakers), settings_.late, reach_)});
  return index;
}

std::size_t Watch::Core::air_of(std::string_view place) const {
  // One that is not in the layout is looked up by who speaks for it.
  if (const auto known = place_airs_.find(place); known != place_airs_.end()) return known->second;
  const auto known = air_index_.find(speakers_for(settings_.layout, place));
  return known == air_index_.end() ? 0 : known->second;
}

void Watch::Core::build_rules() {
  for (const Rule& rule : settings_.book) {
    RunningRule running;
    running.rule = &rule;
    running.program = compile(rule);
    const auto asks = [&running](RuleQuantity quantity) {
      return std::any_of(
          running.program.slots.begin(), running.program.slots.end(),
          [quantity](const ProgramSlot& slot) { return slot.quantity.quantity == quantity; });
    };
    running.of_heat = asks(RuleQuantity::temperature) || asks(RuleQuantity::jar_temperature);
    running.of_spoilage = asks(RuleQuantity::spoiled);
    running.of_model = std::all_of(running.program.slots.begin(), running.program.slots.end(),
                                   [](const ProgramSlot& slot) {
                                     return slot.quantity.place.empty() && !slot.window &&
                                            is_of_jar(source_of(slot.quantity.quantity));
                                   });
    const std::size_t index = rules_.size();
    for (const ProgramSlot& slot : running.program.slots) {
      const std::string& place = slot.quantity.place;
      const std::size_t air = place.empty() ? kOwn : air_of(place);
      running.slot_airs.push_back(air);
      if (air != kOwn && rule.concerns == Scope::jar) airs_[air].jar_rules.push_back(index);
    }
    build_windows(running);
    if (rule.concerns == Scope::jar) jar_rules_.push_back(index);
    rule_index_.emplace(rule.name, index);
    rules_.push_back(std::move(running));
  }
  for (RunningRule& running : rules_) {
    for (const std::string& name : running.rule->explains) {
      const auto known = rule_index_.find(name);
      if (known != rule_index_.end() && rules_[known->second].rule->concerns == Scope::jar) {
        running.explains.insert(known->second);
      }
    }
  }
}

void Watch::Core::build_windows(RunningRule& rule) {
  rule.slot_windows.resize(rule.program.slots.size());
  for (std::size_t slot = 0; slot < rule.program.slots.size(); ++slot) {
    const auto& window = rule.program.slots[slot].window;
    if (!window) continue;
    const auto known = std::find_if(windows_.begin(), windows_.end(),
                                    [&](const auto& other) { return *other == *window; });
    const auto index = static_cast<std::size_t>(known - windows_.begin());
    if (known == windows_.end()) windows_.push_back(window);
    rule.slot_windows[slot] = index;
    if (rule.slot_airs[slot] != kOwn) {
      look_through(index, rule.slot_airs[slot]);
    } else if (rule.rule->concerns == Scope::jar) {
      for (std::size_t air = 0; air < airs_.size(); ++air) look_through(index, air);
    } else {
      for (const auto& [place, sensors] : air_sensors_at_) look_through(index, air_of(place));
    }
  }
}

void Watch::Core::look_through(std::size_t window, std::size_t air) {
  const bool is_new =
      airs_[air].tracks.emplace(window, WindowTrack(windows_[window]->length + reach_)).second;
  if (is_new && windows_[window]->kind == WindowKind::time_with) {
    airs_[air].calm.comparisons.add(windows_[window]->with);
  }
}

// Subject by subject: what one reading steps lies together in memory. Those of jars come with them.
void Watch::Core::build_instances() {
  const auto add_all = [this](Scope scope, const Subject& subject, std::size_t index,
                              std::size_t own_air) {
    for (std::size_t rule = 0; rule < rules_.size(); ++rule) {
      if (rules_[rule].rule->concerns == scope) add_instance(rule, subject, index, own_air);
    }
  };
  for (const auto& [place, sensors] : air_sensors_at_) {
    add_all(Scope::place, {SubjectKind::place, place}, 0, air_of(place));
  }
  for (std::size_t i = 0; i < sensors_.size(); ++i) {
    add_all(Scope::sensor, {SubjectKind::sensor, settings_.layout.sensors[i].id}, i, kOwn);
  }
  add_all(Scope::service, {SubjectKind::service, ""}, 0, kOwn);
}

std::size_t Watch::Core::add_instance(std::size_t rule, Subject subject, std::size_t index,
                                      std::size_t own_air) {
  auto made = std::make_unique<Instance>(rule, std::move(subject), rules_[rule].program);
  made->index = index;
  made->own_air = own_air;
  std::size_t at = instances_.size();
  if (free_.empty()) {
    instances_.push_back(std::move(made));
  } else {
    at = free_.back();
    free_.pop_back();
    instances_[at] = std::move(made);
  }
  Instance& instance = *instances_[at];
  const Program& program = rules_[rule].program;
  const auto join = [&](Calm& calm) {
    instance.calm = &calm;
    calm.members.push_back(at);
    calm.comparisons.add(program);
  };
  switch (instance.subject.kind) {
    case SubjectKind::jar:
      return at;
    case SubjectKind::sensor:
      if (Comparisons::suffice_for(program)) {
        join(sensors_[index].calm);
      } else {
        sensors_[index].instances.push_back(at);
      }
      break;
    case SubjectKind::service:
      service_instances_.push_back(at);
      break;
    case SubjectKind::place: {
      if (Comparisons::suffice_for(program)) {
        join(airs_[own_air].calm);
        break;
      }
      std::set<std::size_t> airs{own_air};
      for (const std::size_t air : rules_[rule].slot_airs) {
        if (air != kOwn) airs.insert(air);
      }
      for (const std::size_t air : airs) airs_[air].instances.push_back(at);
      break;
    }
  }
  fixed_instances_[{rule, instance.subject.id}] = at;
  return at;
}

void Watch::Core::add_jar_instances(std::size_t jar) {
  for (const std::size_t rule : jar_rules_) {
    const Subject subject{SubjectKind::jar, register_.at(jar).id};
    jars_[jar].instances.push_back(add_instance(rule, subject, jar, kOwn));
  }
}

void Watch::Core::retire(std::size_t jar) {
  JarRecord& record = register_.at(jar);
  record.retired = true;
  jars_[jar].track.reset();
  for (const std::size_t at : jars_[jar].instances) {
    Instance& instance = *instances_[at];
    instance.gone = true;
    instance.armed = kNever;
    free_.push_back(at);
    if (is_symptom(instance)) drop_symptom(instance.alert, instance);
    const auto own = alerts_.own(rules_[instance.rule].rule->name, instance.subject);
    if (own) finish(*own);
  }
  jars_[jar].instances.clear();
  touch(SubjectKind::jar, record.id);
}

// ---- inputs -------------------------------------------------------------------------------------

Effects Watch::Core::step(Instant wall, const Input& input) {
  effects_ = {};
  wall_ = wall;
  const bool moves = std::holds_alternative<ClockMovedInput>(input);
  if (settings_.clock == Clock::wall && !moves) {
    pass_to(wall);
    advance_to(now_ ? std::max(*now_, wall) : wall);
  }
  if (orphans_ && now_) end_orphans();
  std::visit([&](const auto& each) { apply(each); }, input);
  settle();
  if (std::holds_alternative<ReadingsInput>(input)) {
    refresh_deeds();
    settle();
  }
  report_touched();
  return std::move(effects_);
}

void Watch::Core::advance_to(Instant t) {
  now_ = t;
  if (unbegun_) begin();
}

// What could not start before there was an engine time.
void Watch::Core::begin() {
  unbegun_ = false;
  for (Sensor& sensor : sensors_) {
    if (sensor.track.first_known) continue;
    sensor.track.first_known = now_;
    for (const auto* some : {&sensor.calm.members, &sensor.instances}) {
      for (const std::size_t instance : *some) step_instance(instance, *now_);
    }
  }
  if (link_before_time_) {
    const LinkInput link{*link_before_time_};
    link_before_time_.reset();
    apply(link);
  }
  if (disk_before_time_) {
    const DiskInput disk{Percent(*disk_before_time_)};
    disk_before_time_.reset();
    apply(disk);
  }
  for (std::size_t jar = 0; jar < jars_.size(); ++jar) look_at_jar(jar);
}

void Watch::Core::apply(const ReadingsInput& input) {
  std::vector<SensorReading>& ordered = ordered_;
  ordered.clear();
  auto sensor = sensor_index_.end();
  for (const Reading& reading : input.readings) {
    // Mostly they are of one sensor.
    if (sensor == sensor_index_.end() || sensor->first != reading.sensor) {
      sensor = sensor_index_.find(reading.sensor);
    }
    if (sensor != sensor_index_.end()) ordered.push_back({&reading, sensor->second});
  }
  const auto earlier = [](const SensorReading& a, const SensorReading& b) {
    return a.reading->measured_at < b.reading->measured_at;
  };
  if (!std::is_sorted(ordered.begin(), ordered.end(), earlier)) {
    std::stable_sort(ordered.begin(), ordered.end(), earlier);
  }
  for (std::size_t begin = 0, end = 0; begin < ordered.size(); begin = end) {
    const Instant t = ordered[begin].reading->measured_at;
    while (end < ordered.size() && ordered[end].reading->measured_at == t) ++end;
    const auto moment = std::span(ordered).subspan(begin, end - begin);
    const bool by_readings = settings_.clock == Clock::readings;
    const Instant carried = by_readings ? carried_to(moment) : t;
    const bool carries_time = by_readings && (!now_ || carried > *now_);
    if (carries_time) {
      pass_to(carried);
      advance_to(carried);
      if (orphans_) end_orphans();
    }
    apply_moment(moment);
    if (carries_time) settle();
  }
}

// Engine time by the readings of one measuring time. What comes from before its sensor's newest
// carries nothing, and no stamp reaches beyond its arrival.
Instant Watch::Core::carried_to(std::span<const SensorReading> readings) {
  const Instant t = readings.front().reading->measured_at;
  std::optional<Instant> carried = now_;
  for (const SensorReading& each : readings) {
    const SensorTrack& track = sensors_[each.sensor].track;
    const auto& newest = track.newest(each.reading->quantity);
    if (newest && newest->measured_at >= t) continue;
    const Instant time = std::min(readings_clock_.heard(each.sensor, t, carried), wall_);
    carried = carried ? std::max(*carried, time) : time;
  }
  return carried.value_or(std::min(t, wall_));
}

std::map<std::string, Duration> Watch::Core::ahead() const {
  std::map<std::string, Duration> ahead;
  for (std::size_t i = 0; i < sensors_.size(); ++i) {
    const Duration by = readings_clock_.ahead(i);
    if (by > Duration{}) ahead.emplace(settings_.layout.sensors[i].id, by);
  }
  return ahead;
}

// Readings of one measuring time: temperature and humidity of a sensor mostly arrive together.
void Watch::Core::apply_moment(std::span<const SensorReading> readings) {
  heard_.sensors.clear();
  heard_.airs.clear();
  for (const SensorReading& each : readings) apply_reading(*each.reading, each.sensor);
  const Instant at = readings.front().reading->measured_at;
  for (const std::size_t sensor : each_once(heard_.sensors)) {
    touch(SubjectKind::sensor, settings_.layout.sensors[sensor].id);
    step_sensor(sensor, at);
  }
  for (const std::size_t air : each_once(heard_.airs)) step_air(air, at);
}

void Watch::Core::apply_reading(const Reading& reading, std::size_t index) {
  Sensor& sensor = sensors_[index];
  if (sensor.track.has(reading)) return;
  const bool believed = believe(index, reading);
  sensor.track.insert(reading, believed, reach_);
  heard_.sensors.push_back(index);
  if (!believed || facts(reading.quantity).of_sensor) return;
  const double value = judges_.corrected(index, reading);
  const SensorSpec& spec = settings_.layout.sensors[index];
  if (!spec.jar.empty()) {
    Reading corrected = reading;
    corrected.raw = value;
    corrected.unit = facts(reading.quantity).unit;
    probe_jar(spec, corrected);
  }
  const double error = judges_.expected_error(index, reading);
  for (const Seat& seat : sensor.seats) {
    AirTimeline& timeline = airs_[seat.air].timeline;
    // Before step_air() makes the timeline forget what it is too late to change.
    airs_[seat.air].lately.settle(timeline, reading.measured_at - settings_.late);
    if (timeline.insert(
            {reading.measured_at, seat.position, reading.quantity, value, error, hold_of(index)})) {
      heard_.airs.push_back(seat.air);
      const SpokenAir air = timeline.air_at(*now_);
      if (air.temperature_speaker == index || air.humidity_speaker == index) touch_air(seat.air);
    } else {
      outdate_jars_in(seat.air, reading.measured_at);
    }
  }
  look_at_sensor(index);
}

// What a replayed history has marked stays so: it may begin after what the mark was made from.
bool Watch::Core::believe(std::size_t sensor, const Reading& reading) {
  const std::uint16_t doubts = judges_.judge(sensor, reading) & kUnbelieved;
  if (doubts != 0) {
    effects_.doubted.push_back({reading.sensor, reading.quantity, reading.measured_at, doubts});
  }
  if (const auto interval = judges_.take_changed_interval(sensor)) {
    effects_.learned.push_back({reading.sensor, reading.measured_at, *interval, hold_of(sensor)});
  }
  if (auto finished = judges_.take_finished(sensor)) {
    effects_.finished.push_back(
        {reading.sensor, finished->means(), finished->result(), finished->words()});
  }
  return doubts == 0 && reading.trusted();
}

// A burst of messages is no rhythm.
Duration Watch::Core::hold_of(std::size_t sensor) const {
  constexpr Duration kLeast = std::chrono::minutes(1);
  const SensorSpec& spec = settings_.layout.sensors[sensor];
  const auto interval = spec.learns_hold ? judges_.interval(sensor) : std::nullopt;
  return interval ? std::max(kLeast, kHeldIntervals * *interval) : spec.hold;
}

void Watch::Core::track_window(std::size_t window, WindowTrack& track, AirTimeline& air,
                               Instant at) const {
  track.cut(at);
  for (Instant t = at; t != kNever;) {
    const WindowInput input = window_input(*windows_[window], air, t);
    track.put(t, input.value);
    t = input.until;
  }
}

void Watch::Core::step_air(std::size_t air, Instant at) {
  Calm& calm = airs_[air].calm;
  const auto outcome = calm.comparisons.look(
      at, [&](RuleQuantity quantity) { return air_signal(air, quantity, at); });
  const bool is_calm = stays_calm(calm, at, outcome);
  if (!is_calm) rouse(calm);
  track_windows(airs_[air], at, is_calm);
  if (!is_calm) step_members(calm, at, outcome);
  arm(TimerOwner::air_calm, air, calm.until);
  for (const std::size_t instance : airs_[air].instances) step_instance(instance, at);
  for (const std::size_t jar : airs_[air].jars) step_jar(jar, air, at);
  for (const std::size_t rule : airs_[air].jar_rules) {
    const auto position = static_cast<std::size_t>(
        std::find(jar_rules_.begin(), jar_rules_.end(), rule) - jar_rules_.begin());
    for (std::size_t jar = 0; jar < jars_.size(); ++jar) {
      const bool placed = !jars_[jar].instances.empty() && register_.at(jar).stay_at(*now_);
      if (placed) step_instance(jars_[jar].instances[position], at);
    }
  }
  AirTimeline& timeline = airs_[air].timeline;
  if (!timeline.is_full()) return;
  timeline.forget(needed_of(air));
  for (auto& [window, track] : airs_[air].tracks) track.forget(*timeline.newest());
}

// Only a stay that has not ended by `at` can feel a change from `at` on.
void Watch::Core::step_jar(std::size_t jar, std::size_t air, Instant at) {
  const auto& stays = register_.at(jar).stays;
  for (std::size_t i = 0; i < stays.size(); ++i) {
    const bool ended = i + 1 < stays.size() && stays[i + 1].from <= at;
    if (ended || jars_[jar].airs[i] != air || stays[i].from > *now_) continue;
    const Instant from = std::max(at, stays[i].from);
    const bool taken_back = jars_[jar].track && jars_[jar].track->air_changed(from);
    outdate_split_off(jar, from);
    for (const std::size_t instance : jars_[jar].instances) {
      // What only the model says waits for its next look, which is what the instance is due for.
      const bool waits = rules_[instances_[instance]->rule].of_model && !taken_back;
      if (!waits) step_instance(instance, from);
    }
  }
  settle_track(jar);
}

void Watch::Core::step_instance(std::size_t at, Instant t) {
  Instance& instance = *instances_[at];
  if (instance.calm != nullptr) rouse(*instance.calm);
  instance.machine.step(t, settings_.late, [&](Instant when) -> const std::vector<Signal>& {
    return signals_at(instance, when);
  });
  stir(at);
  instance.stepped = true;
}

void Watch::Core::stir(std::size_t at) {
  Instance& instance = *instances_[at];
  if (!instance.stirred) stirred_.push_back(at);
  instance.stirred = true;
}

void Watch::Core::apply(const JarPlacedInput& input) {
  const std::size_t air = air_of(input.place);
  // A move told late counts for rules from at most `late` before the newest reading there.
  const auto newest = airs_[air].timeline.newest();
  const Instant from = newest ? std::max(input.at, *newest - settings_.late) : input.at;
  const std::size_t jar = register_.place(input.jar, input.place, from, std::min(input.at, from));
  if (jar == jars_.size()) jars_.emplace_back();
  const JarRecord& record = register_.at(jar);
  if (jars_[jar].instances.empty()) add_jar_instances(jar);
  const bool moves = record.stays.front().from < input.at;
  jars_[jar].airs.clear();
  for (const JarStay& stay : record.stays) jars_[jar].airs.push_back(air_of(stay.place));
  auto& dwellers = airs_[air].jars;
  if (std::find(dwellers.begin(), dwellers.end(), jar) == dwellers.end()) dwellers.push_back(jar);
  if (jars_[jar].track) {
    jars_[jar].track->air_changed(from);
    if (moves) tell_track(jar, {input.at, culture::Act(culture::Move{}), false});
  }
  for (const std::size_t at : jars_[jar].instances) {
    instances_[at]->machine.begin_at(record.stays.front().from);
    if (now_ && from <= *now_) step_instance(at, from);
  }
  touch(SubjectKind::jar, record.id);
  touch(SubjectKind::place, input.place);
  if (now_) look_at_jar(jar);
}

void Watch::Core::apply(const JarRetiredInput& input) {
  const auto jar = register_.find(input.jar);
  if (!jar || register_.at(*jar).retired) return;
  register_.at(*jar).retired_at = input.at;
  if (now_) look_at_jar(*jar);
}

void Watch::Core::apply(const SeenInput& input) {
  if (!now_) return;
  if (input.alert) return see(*input.alert, input.by);
  std::vector<std::uint64_t> standing;
  for (const auto& [number, open] : alerts_.open()) {
    if (open.alert.state == AlertState::standing) standing.push_back(number);
  }
  for (const std::uint64_t number : standing) see(number, input.by);
}

void Watch::Core::apply(const DeferInput& input) {
  if (!now_ || !alerts_.defer(input, *now_)) return;
  for (const std::string& id : alerts_.at(input.alert).alert.jars) {
    if (const auto jar = register_.find(id)) unsettled_lines_.insert(*jar);
  }
  emit(AlertChangeKind::deferred, alerts_.at(input.alert).alert);
}

void Watch::Core::apply(const LinkInput& input) {
  if (!now_) {
    link_before_time_ = input.connected;
    return;
  }
  if (!link_.empty() && link_.back().connected == input.connected) return;
  keep_last(link_, {*now_, input.connected}, kMostLinkEvents);
  step_service();
}

void Watch::Core::step_service() {
  for (const std::size_t instance : service_instances_) step_instance(instance, *now_);
  touch(SubjectKind::service, "");
}

void Watch::Core::apply(const DiskInput& input) {
  if (!now_) {
    disk_before_time_ = input.free.value();
    return;
  }
  keep_last(disk_free_, {*now_, input.free.value()}, kMostBoardFigures);
  step_service();
}

void Watch::Core::apply(const ClockSteppedInput& input) {
  if (!now_) return;
  std::erase_if(clock_steps_, [&](const BoardFigure& step) {
    return step.at + kStepRemembered + settings_.late <= *now_;
  });
  const double seconds = std::abs(std::chrono::duration<double>(input.by).count());
  keep_last(clock_steps_, {*now_, seconds}, kMostBoardFigures);
  step_service();
}

void Watch::Core::apply(const CheckBegunInput& input) {
  const auto sensor = sensor_index_.find(input.sensor);
  if (sensor == sensor_index_.end()) return;
  judges_.begin_check(sensor->second, input.means, input.at);
  touch(SubjectKind::sensor, input.sensor);
}

void Watch::Core::apply(const CheckAbandonedInput& input) {
  const auto sensor = sensor_index_.find(input.sensor);
  if (sensor == sensor_index_.end()) return;
  judges_.abandon_check(sensor->second);
  touch(SubjectKind::sensor, input.sensor);
}

void Watch::Core::apply(const SensorCheckedInput& input) {
  const auto sensor = sensor_index_.find(input.sensor);
  if (sensor == sensor_index_.end()) return;
  judges_.calibration(sensor->second).add(input.check);
  outdate_by_check(sensor->second, input.check.at);
  touch(SubjectKind::sensor, input.sensor);
}

void Watch::Core::apply(const CheckWithdrawnInput& input) {
  const auto sensor = sensor_index_.find(input.sensor);
  if (sensor == sensor_index_.end()) return;
  judges_.calibration(sensor->second).withdraw(input.check.quantity, input.check.at);
  outdate_by_check(sensor->second, input.check.at);
  touch(SubjectKind::sensor, input.sensor);
}

// What the sensor has said since reads otherwise now. Rules go on from the readings that come, as
// no alert is raised or ended in the past; the jars' models are worked out anew.
void Watch::Core::outdate_by_check(std::size_t sensor, Instant from) {
  const auto& newest_t = sensors_[sensor].track.newest(Quantity::temperature);
  const auto& newest_h = sensors_[sensor].track.newest(Quantity::humidity);
  const bool spoke_since =
      (newest_t && newest_t->measured_at > from) || (newest_h && newest_h->measured_at > from);
  if (!spoke_since) return;
  std::set<std::size_t> jars;
  for (const Seat& seat : sensors_[sensor].seats) {
    jars.insert(airs_[seat.air].jars.begin(), airs_[seat.air].jars.end());
  }
  const auto own = register_.find(settings_.layout.sensors[sensor].jar);
  if (own) jars.insert(*own);
  for (const std::size_t jar : jars) outdate_track(jar, from);
}

// ---- time ---------------------------------------------------------------------------------------

void Watch::Core::run_timers_before(Instant t) {
  for (Instant next = next_timer(); next < t; next = next_timer()) {
    advance_to(next);
    fire(next);
  }
}

// Works out what the input has changed, then lets go off what is due at this very moment: the
// input at a moment comes before the timers of that moment.
void Watch::Core::settle() {
  react();
  if (!now_) return;
  while (next_timer() <= *now_) fire(*now_);
}

void Watch::Core::fire(Instant t) {
  while (!timers_.empty() && timers_.first().at <= t) {
    const Timer timer = timers_.take();
    if (armed(timer) != timer.at) continue;
    armed(timer) = kNever;
    if (const Instant due = true_due(timer); due > t) {
      arm(timer.owner, timer.index, due);
      continue;
    }
    switch (timer.owner) {
      case TimerOwner::instance:
        stir(timer.index);
        break;
      case TimerOwner::sensor: {
        const SensorSpec& spec = settings_.layout.sensors[timer.index];
        const Sensor& sensor = sensors_[timer.index];
        if (sensor.track.next_expiry(hold_of(timer.index), t - Duration(1)) == t) {
          touch(SubjectKind::sensor, spec.id);
          for (const Seat& seat : sensor.seats) touch_air(seat.air);
        }
        look_at_sensor(timer.index);
        break;
      }
      case TimerOwner::jar:
        look_at_jar(timer.index);
        break;
      case TimerOwner::air_calm:
        rouse(airs_[timer.index].calm);
        break;
      case TimerOwner::sensor_calm:
        rouse(sensors_[timer.index].calm);
        break;
    }
  }
  react();
}

// Whether it has become live or silent.
void Watch::Core::look_at_sensor(std::size_t index) {
  Sensor& sensor = sensors_[index];
  const SensorSpec& spec = settings_.layout.sensors[index];
  const auto expiry = sensor.track.next_expiry(hold_of(index), *now_);
  if (sensor.live != expiry.has_value()) {
    sensor.live = expiry.has_value();
    if (!sensor.seats.empty()) unsettled_places_.insert(spec.place);
  }
  if (expiry) arm(TimerOwner::sensor, index, *expiry);
}

// Where it stands now: a move or retirement told in advance may have come.
void Watch::Core::look_at_jar(std::size_t index) {
  const JarRecord& record = register_.at(index);
  if (!record.retired && record.retired_at && *record.retired_at <= *now_) retire(index);
  if (const JarStay* stay = record.stay_at(*now_); stay != nullptr) {
    for (const std::size_t instance : jars_[index].instances) {
      const auto settled = instances_[instance]->machine.settled();
      if (!settled || *settled < stay->from) step_instance(instance, stay->from);
    }
  }
  const std::string left(register_.place_of(index));
  if (register_.settle(index, *now_)) {
    unsettled_places_.insert(left);
    unsettled_places_.emplace(register_.place_of(index));
    touch(SubjectKind::jar, record.id);
    touch(SubjectKind::place, register_.place_of(index));
  }
  give_up_waiting(index);
  arm(TimerOwner::jar, index, next_look_at_jar(index, *now_));
}

Instant Watch::Core::next_look_at_jar(std::size_t jar, Instant t) const {
  const Instant change = register_.at(jar).next_change(t).value_or(kNever);
  return std::min(change, gives_up_at(jar, t));
}

Instant& Watch::Core::armed(const Timer& timer) {
  switch (timer.owner) {
    case TimerOwner::instance:
      return instances_[timer.index]->armed;
    case TimerOwner::sensor:
      return sensors_[timer.index].armed;
    case TimerOwner::jar:
      return jars_[timer.index].armed;
    case TimerOwner::air_calm:
      return airs_[timer.index].calm.armed;
    case TimerOwner::sensor_calm:
      break;
  }
  return sensors_[timer.index].calm.armed;
}

// Seen from just before the timer's own moment, at which what it waits for will have happened.
Instant Watch::Core::true_due(const Timer& timer) const {
  const Instant before = timer.at - Duration(1);
  switch (timer.owner) {
    case TimerOwner::instance:
      return instances_[timer.index]->due;
    case TimerOwner::sensor: {
      return sensors_[timer.index].track.next_expiry(hold_of(timer.index), before).value_or(kNever);
    }
    case TimerOwner::jar:
      return next_look_at_jar(timer.index, before);
    case TimerOwner::air_calm:
      return calm_until(airs_[timer.index].calm);
    case TimerOwner::sensor_calm:
      break;
  }
  return calm_until(sensors_[timer.index].calm);
}

void Watch::Core::arm(TimerOwner owner, std::size_t index, Instant due) {
  const Timer timer{due, owner, index};
  if (due == kNever || due >= armed(timer)) return;
  armed(timer) = due;
  timers_.set(timer);
}

// The next moment at which something is really due: early timers are set anew on the way.
Instant Watch::Core::next_timer() {
  while (!timers_.empty()) {
    const Timer first = timers_.first();
    const bool stale = armed(first) != first.at;
    if (!stale && true_due(first) <= first.at) break;
    timers_.take();
    if (stale) continue;
    armed(first) = kNever;
    arm(first.owner, first.index, true_due(first));
  }
  return first_due();
}

Instant Watch::Core::first_due() const {
  Instant due = alerts_.next_due().first;
  if (leap_) due = std::min(due, leap_->due);
  return timers_.empty() ? due : std::min(due, timers_.first().at);
}

std::optional<Instant> Watch::Core::next_due() const {
  const Instant due = first_due();
  return due == kNever ? std::nullopt : std::optional(due);
}

// ---- questions ----------------------------------------------------------------------------------

std::vector<Alert> Watch::Core::open_alerts() const {
  std::vector<Alert> alerts;
  for (const auto& [number, open] : alerts_.open()) alerts.push_back(open.alert);
  return alerts;
}

const SensorTrack* Watch::Core::track(std::string_view sensor) const {
  const auto known = sensor_index_.find(sensor);
  return known == sensor_index_.end() ? nullptr : &sensors_[known->second].track;
}

std::optional<SensorStanding> Watch::Core::standing(std::string_view sensor) const {
  const auto known = sensor_index_.find(sensor);
  if (known == sensor_index_.end() || !now_) return std::nullopt;
  return judges_.standing(known->second, *now_);
}

SpokenAir Watch::Core::air_at(std::string_view place) const {
  if (!now_) return {};
  return airs_[air_of(place)].timeline.air_at(*now_);
}

}  // namespace torpor::rules
