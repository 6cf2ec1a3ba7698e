// What became true and false -> alerts, their jars and words, notices.
#include <algorithm>
#include <tuple>
#include <utility>

#include <fmt/core.h>

#include "rules/watch/core.h"

namespace torpor::rules {
namespace {

// More alerts than an operator can take in: over 10 in 10 minutes (EEMUA 191; ISA-18.2, 16.5).
constexpr std::size_t kMostNotices = 10;
constexpr Duration kFloodTime = std::chrono::minutes(10);
// What is passing is not said again; whether it is over is looked at after this.
constexpr Duration kPassingPause = std::chrono::hours(1);

// What an alert asks for first, whichever its subject is: notices of one deed are one line.
std::string deed_of_any(const Alert& alert) {
  if (alert.remedies.empty()) return {};
  std::string deed = alert.remedies.front().words;
  const std::string& id = alert.subject.id;
  if (alert.subject.kind != SubjectKind::jar) return deed;
  for (std::size_t at = deed.find(id); at != std::string::npos; at = deed.find(id, at + 1)) {
    deed.replace(at, id.size(), 1, '*');
  }
  return deed;
}

std::ptrdiff_t depth_of(std::string_view place) {
  return std::count(place.begin(), place.end(), '/');
}

}  // namespace

// Brings alerts in line with every instance that was stepped or whose timer went off. Looks only
// at how things stand at the engine's now, so nothing is raised or ended in the past.
void Watch::Core::react() {
  // What a cause explained comes back when it ends: a second pass, and rarely a third.
  do {
    react_once();
    if (!now_) return;
    for (const std::size_t jar : std::exchange(retold_, {})) redescribe(jar);
    if (!unsettled_places_.empty()) refresh_jars();
    if (!unsettled_lines_.empty()) settle_lines();
    run_alert_timers();
  } while (!stirred_.empty() || !unsettled_lines_.empty());
}

void Watch::Core::react_once() {
  std::vector<std::size_t> changed;
  for (const std::size_t at : std::exchange(stirred_, {})) {
    Instance& instance = *instances_[at];
    instance.stirred = false;
    const bool stepped = std::exchange(instance.stepped, false);
    if (instance.gone || !now_) continue;
    const RuleInstance::Head head = head_of(instance);
    // Of those that lie together the rest is due together.
    const bool lies = instance.calm != nullptr && instance.calm->lies;
    instance.due = lies ? head.next.firm : head.next.due;
    arm(TimerOwner::instance, at, instance.due);
    const bool unsaid = instance.unsaid && head.met && !is_passing(instance);
    if (head.met != instance.met || unsaid) {
      changed.push_back(at);
    } else if (head.met && (stepped || rules_[instance.rule].of_model)) {
      note_worst(instance);
      consider_urgency(instance);
    }
  }
  if (!changed.empty()) react_to(changed);
}

void Watch::Core::react_to(const std::vector<std::size_t>& changed) {
  // Causes before what they explain; rule by rule, places above before those below, so that what is
  // met below joins what is met above; and what began before what ended, so that an alert that only
  // changes hands never eases.
  std::vector<std::size_t> ordered = changed;
  std::sort(ordered.begin(), ordered.end(), [&](std::size_t a, std::size_t b) {
    const Instance& x = *instances_[a];
    const Instance& y = *instances_[b];
    const auto order = [this](const Instance& one) {
      return std::tuple(one.met && !one.unsaid, rules_[one.rule].explains.empty(), one.rule,
                        depth_of(one.subject.id), one.subject);
    };
    return order(x) < order(y);
  });
  std::set<std::uint64_t> explaining;
  std::map<std::uint64_t, std::optional<AlertChangeKind>> outcomes;
  for (const std::size_t at : ordered) {
    Instance& instance = *instances_[at];
    const Rule& rule = *rules_[instance.rule].rule;
    std::optional<AlertLife::Outcome> outcome;
    if (!instance.met || instance.unsaid) {
      const bool ended = instance.unsaid && !head_of(instance).met;
      instance.unsaid = false;
      if (ended) {
        set_met(at, instance, std::nullopt);
        continue;
      }
      if (const auto explainer = explainer_of(instance)) {
        explain(at, *explainer);
        explaining.insert(*explainer);
        outcomes.try_emplace(*explainer);
        continue;
      }
      outcome = alerts_.raise(rule, instance.subject, urgency_of(instance),
                              head_of(instance).met_since, *now_);
      set_met(at, instance, outcome->first);
      OpenAlert& open = alerts_.at(outcome->first);
      if (!rules_[instance.rule].explains.empty() && open.alert.jars.empty()) {
        open.alert.jars = jars_of(open);
      }
    } else if (is_symptom(instance)) {
      explaining.insert(instance.alert);
      outcomes.try_emplace(instance.alert);
      drop_symptom(instance.alert, instance);
      set_met(at, instance, std::nullopt);
      continue;
    } else {
      outcome = alerts_.ease(rule.name, instance.subject, *now_);
      set_met(at, instance, std::nullopt);
      if (outcome && outcome->second) {
        release_symptoms(std::exchange(alerts_.at(outcome->first).alert.symptoms, {}));
      }
    }
    if (!outcome) continue;
    auto& kind = outcomes[outcome->first];
    if (outcome->second) kind = outcome->second;
    touch(instance.subject.kind, instance.subject.id);
  }
  for (const auto& [number, kind] : outcomes) {
    OpenAlert& open = alerts_.at(number);
    const std::vector<std::string> jars_before = open.alert.jars;
    const bool is_said = kind || jars_of(open) != jars_before || explaining.count(number) > 0;
    if (!is_said) continue;
    describe(open);
    if (kind) absorb_symptoms(number);
    if (!open.alert.symptoms.empty()) describe_symptoms(open.alert);
    const bool risen = !kind && open.risen_unsaid && explaining.count(number) > 0;
    emit(kind.value_or(risen ? AlertChangeKind::risen : AlertChangeKind::updated), open.alert);
    for (const std::string& id : open.alert.jars) {
      if (const auto jar = register_.find(id)) unsettled_lines_.insert(*jar);
    }
    if (!open.alert.jars.empty()) alerts_.release(number, *now_);
    const bool over = kind == AlertChangeKind::eased && open.alert.urgency == Urgency::now;
    if (over && open.notices > 0 && !leap_due_) send_notice(open, NoticeKind::over);
  }
}

// Repeats, notices that waited for the morning, and alerts whose time is over.
void Watch::Core::run_alert_timers() {
  if (leap_ && leap_->due <= *now_) say_what_stands();
  std::vector<std::pair<std::uint64_t, NoticeKind>> due;
  for (auto [at, number] = alerts_.next_due(); at <= *now_;
       std::tie(at, number) = alerts_.next_due()) {
    if (alerts_.is_over(number, *now_)) {
      finish(number);
      continue;
    }
    if (alerts_.take_ended_deferral(number, *now_)) {
      describe(alerts_.at(number));
      emit(AlertChangeKind::updated, alerts_.at(number).alert);
      continue;
    }
    if (leap_due_) {
      alerts_.postpone(number, *leap_due_);
      continue;
    }
    const bool silent =
        concerns_no_jar(alerts_.at(number)) || !speaks_for_its_jar(alerts_.at(number).alert);
    if (silent) {
      alerts_.withhold(number);
      continue;
    }
    const OpenAlert& open = alerts_.at(number);
    if (open.notices == 0 && was_said(open.alert)) {
      alerts_.count_as_said(number, jars_[*register_.find(open.alert.subject.id)].said->at);
      alerts_.resume(number, *now_);
      continue;
    }
    const bool can_wait = open.alert.urgency != Urgency::now;
    if (can_wait && flood_until_ && *flood_until_ > *now_) {
      alerts_.postpone(number, *flood_until_);
      continue;
    }
    const NoticeKind kind = open.notices == 0   ? NoticeKind::first
                            : open.risen_unsaid ? NoticeKind::sooner
                                                : NoticeKind::again;
    const Instance* spoken = spoken_of(open);
    if (kind == NoticeKind::again && spoken != nullptr && is_passing(*spoken)) {
      alerts_.postpone(number, *now_ + kPassingPause);
      continue;
    }
    if (!alerts_.take_due_notice(number, *now_)) continue;
    if (kind == NoticeKind::again) {
      // Said anew, it says what is now.
      OpenAlert& again = alerts_.at(number);
      const Alert before = again.alert;
      describe(again);
      if (again.alert != before) emit(AlertChangeKind::updated, again.alert);
    }
    if (can_wait) {
      due.emplace_back(number, kind);
    } else {
      send_notice(alerts_.at(number), kind);
    }
  }
  deliver(due);
}

// Each by itself, or all in one when they are more than a person can read.
void Watch::Core::deliver(const std::vector<std::pair<std::uint64_t, NoticeKind>>& due) {
  if (due.empty()) return;
  std::erase_if(delivered_, [&](Instant t) { return t <= *now_ - kFloodTime; });
  if (delivered_.size() + due.size() <= kMostNotices) {
    // Of one rule at one moment is mostly one cause, and one line: if it asks for the same.
    std::map<std::tuple<std::string, NoticeKind, std::string>, std::vector<std::uint64_t>> lines;
    for (const auto& [number, kind] : due) {
      const Alert& alert = alerts_.at(number).alert;
      lines[{alert.rule, kind, deed_of_any(alert)}].push_back(number);
    }
    for (const auto& [key, numbers] : lines) {
      std::vector<std::string> likewise;
      for (std::size_t i = 1; i < numbers.size(); ++i) {
        const Alert& alert = alerts_.at(numbers[i]).alert;
        likewise.push_back(alert.subject.id);
        note_said(alert);
      }
      send_notice(alerts_.at(numbers.front()), std::get<NoticeKind>(key), likewise);
    }
    delivered_.insert(delivered_.end(), due.size(), *now_);
    return;
  }
  flood_until_ = *now_ + kFloodTime;
  std::vector<const Alert*> alerts;
  alerts.reserve(due.size());
  for (const auto& each : due) alerts.push_back(&alerts_.at(each.first).alert);
  effects_.notices.push_back({fmt::format("flood-{}", unix_ms(*now_)), 0, flood_line(alerts)});
  delivered_.push_back(*now_);
}

// After a restart with other settings: alerts of what no longer exists come to their end.
void Watch::Core::end_orphans() {
  orphans_ = false;
  std::vector<std::uint64_t> numbers;
  for (const auto& [number, open] : alerts_.open()) numbers.push_back(number);
  for (const std::uint64_t number : numbers) {
    const Alert alert = alerts_.at(number).alert;
    if (instance_of(alert.rule, alert.subject) == nullptr) {
      finish(number);
      continue;
    }
    std::erase_if(alerts_.at(number).alert.symptoms, [this](const Symptom& symptom) {
      return !jar_instance(symptom.jar, symptom.rule);
    });
    const std::set<std::string> standing = alerts_.at(number).standing;
    for (const std::string& id : standing) {
      const Subject subject{alert.subject.kind, id};
      if (instance_of(alert.rule, subject) != nullptr) continue;
      const auto outcome = alerts_.ease(alert.rule, subject, *now_);
      if (outcome && outcome->second) emit(*outcome->second, alerts_.at(number).alert);
    }
  }
}

// Jars came or went, or a sensor began or ceased to speak: that can only concern alerts that stand
// at such a place or above it.
void Watch::Core::refresh_jars() {
  std::set<std::uint64_t> numbers;
  for (const std::string& place : unsettled_places_) {
    for (std::string_view at = place; !at.empty(); at = parent_place(at)) {
      if (air_sensors_at_.find(at) == air_sensors_at_.end()) continue;
      const Subject subject{SubjectKind::place, std::string(at)};
      for (const RunningRule& rule : rules_) {
        if (rule.rule->concerns != Scope::place) continue;
        if (const auto number = alerts_.standing_in(rule.rule->name, subject)) {
          numbers.insert(*number);
        }
      }
    }
  }
  unsettled_places_.clear();
  for (const std::uint64_t number : numbers) {
    OpenAlert& open = alerts_.at(number);
    if (jars_of(open) == open.alert.jars) continue;
    describe(open);
    absorb_symptoms(number);
    describe_symptoms(open.alert);
    emit(AlertChangeKind::updated, open.alert);
    if (!open.alert.jars.empty()) alerts_.release(number, *now_);
  }
}

// The warmth of a room without jars wakes none, and the weather is nobody's business. Where no jar
// stands anywhere, somebody is trying the service out and wants to hear it.
bool Watch::Core::concerns_no_jar(const OpenAlert& open) const {
  const Alert& alert = open.alert;
  if (alert.subject.kind != SubjectKind::place || !alert.jars.empty()) return false;
  return register_.any_standing() || is_outside(settings_.layout, alert.subject.id);
}

// Jars whose air the alert is about: at or below its standing places, unless a nearer live sensor
// speaks for them, and but for those that are spoiled: no air helps them. Those that an eased alert
// last had stay with it.
std::vector<std::string> Watch::Core::jars_of(const OpenAlert& open) const {
  if (open.alert.subject.kind == SubjectKind::jar) return {open.alert.subject.id};
  if (open.alert.subject.kind != SubjectKind::place) return {};
  if (open.standing.empty()) return open.alert.jars;
  std::set<std::string> jars;
  for (const std::string& place : open.standing) {
    for (const std::string& occupied : register_.occupied_below(place)) {
      if (nearer_sensor_speaks(occupied, place)) continue;
      for (const std::string& id : register_.jars_at(occupied)) {
        const auto jar = register_.find(id);
        if (jar && !jars_[*jar].spoilage) jars.insert(id);
      }
    }
  }
  return {jars.begin(), jars.end()};
}

bool Watch::Core::nearer_sensor_speaks(std::string_view from, std::string_view to) const {
  for (; from != to && !from.empty(); from = parent_place(from)) {
    const auto sensors = air_sensors_at_.find(from);
    if (sensors == air_sensors_at_.end()) continue;
    for (const std::size_t sensor : sensors->second) {
      if (sensors_[sensor].live) return true;
    }
  }
  return false;
}

Watch::Core::Instance* Watch::Core::instance_of(const std::string& rule,
                                                const Subject& subject) const {
  const auto known = rule_index_.find(rule);
  if (known == rule_index_.end()) return nullptr;
  if (subject.kind == SubjectKind::jar) {
    const auto jar = register_.find(subject.id);
    if (!jar) return nullptr;
    for (const std::size_t at : jars_[*jar].instances) {
      if (instances_[at]->rule == known->second) return instances_[at].get();
    }
    return nullptr;
  }
  const auto found = fixed_instances_.find({known->second, subject.id});
  if (found == fixed_instances_.end()) return nullptr;
  Instance* instance = instances_[found->second].get();
  return instance->subject.kind == subject.kind ? instance : nullptr;
}

// Where the alert's own place has eased and a joined one still stands, that one is spoken of.
Watch::Core::Instance* Watch::Core::spoken_of(const OpenAlert& open) const {
  Subject spoken = open.alert.subject;
  if (!open.standing.empty() && open.standing.count(spoken.id) == 0) {
    spoken.id = *open.standing.begin();
  }
  return instance_of(open.alert.rule, spoken);
}

ReadSignal Watch::Core::reader_of(const Instance& instance, Instant t) const {
  return [this, &instance, t](const Term& term) {
    Signal signal = slot_signal(instance, rules_[instance.rule].program.slot_of(term), t);
    signal.drift = nullptr;
    return signal;
  };
}

// It is met only because its `until` takes its time.
bool Watch::Core::is_passing(const Instance& instance) const {
  return no_longer_holds(*rules_[instance.rule].rule, *now_, reader_of(instance, *now_));
}

// Jars, figures and sentence as of now.
void Watch::Core::describe(OpenAlert& open) {
  Alert& alert = open.alert;
  open.described_at = *now_;
  alert.jars = jars_of(open);
  if (alert.subject.kind == SubjectKind::place) release_those_gone(alert);
  Instance* instance = spoken_of(open);
  if (instance == nullptr) return;
  catch_up(*instance);
  const Subject& spoken = instance->subject;
  const Rule& rule = *rules_[instance->rule].rule;
  const Instant t = std::max(*now_, instance->machine.settled().value_or(*now_));
  const ReadSignal read = reader_of(*instance, t);
  std::string_view place;
  if (spoken.kind == SubjectKind::jar) {
    place = register_.place_of(instance->index);
  } else if (spoken.kind == SubjectKind::sensor) {
    place = settings_.layout.sensors[instance->index].place;
  }
  const bool stands = alert.state == AlertState::standing;
  alert.urgency = std::min(alert.urgency, rule.urgency);
  alert.why = rule.why;
  alert.figures = figures_of(rule, t, read);
  if (stands) {
    note_worst(*instance);
    advise_on(alert, rules_[instance->rule], spoken.kind == SubjectKind::place ? spoken.id : place);
  }
  const std::string reason = stands ? reason_behind(*instance) : "";
  alert.what = what_sentence(
      {rule, spoken, place, alert.state, t, settings_.utc_offset, reason, &alert}, read);
}

// A rule about trust says what the judges say, and one about what spoils a jar what was found;
// empty: another rule, or nothing is doubted now. A battery's charge is a figure that says enough.
std::string Watch::Core::reason_behind(const Instance& instance) const {
  if (instance.subject.kind == SubjectKind::jar) {
    const Jar& jar = jars_[instance.index];
    if (!rules_[instance.rule].of_spoilage || !jar.spoilage) return {};
    std::string words = spoilage_words(*jar.spoilage, instance.subject.id);
    words.pop_back();  // its full stop
    return words;
  }
  if (instance.subject.kind != SubjectKind::sensor) return {};
  const auto& slots = rules_[instance.rule].program.slots;
  const bool of_judges = std::any_of(slots.begin(), slots.end(), [](const ProgramSlot& slot) {
    const RuleQuantity quantity = slot.quantity.quantity;
    return is_of_judges(quantity) && quantity != RuleQuantity::battery;
  });
  if (!of_judges) return {};
  const SensorStanding standing = judges_.standing(instance.index, *now_);
  return standing.reasons.empty() ? std::string() : standing.reasons.front();
}

void Watch::Core::emit(AlertChangeKind kind, const Alert& alert) {
  effects_.changes.push_back({kind, *now_, alert});
  touch(alert.subject.kind, alert.subject.id);
  for (const std::string& jar : alert.jars) touch(SubjectKind::jar, jar);
}

void Watch::Core::send_notice(OpenAlert& open, NoticeKind kind,
                              const std::vector<std::string>& likewise) {
  if (kind == NoticeKind::over) {
    ++open.notices;
    open.last_notice = now_;
  }
  const Alert& alert = open.alert;
  note_said(alert);
  effects_.notices.push_back({fmt::format("{}-{}", alert.number, open.notices), alert.number,
                              notice_line(alert, kind, *now_, settings_.utc_offset, likewise)});
}

void Watch::Core::note_said(const Alert& alert) {
  const auto jar =
      alert.subject.kind == SubjectKind::jar ? register_.find(alert.subject.id) : std::nullopt;
  if (!jar || alert.remedies.empty()) return;
  jars_[*jar].said = Jar::Said{alert.remedies.front().remedy, alert.urgency, *now_};
}

void Watch::Core::see(std::uint64_t number, const std::string& by) {
  if (alerts_.see(number, by, *now_)) emit(AlertChangeKind::seen, alerts_.at(number).alert);
}

void Watch::Core::touch(SubjectKind kind, std::string_view id) {
  if (kind == SubjectKind::jar) {
    if (const auto jar = register_.find(id)) touched_jars_.insert(*jar);
  } else {
    const bool again =
        !touched_.empty() && touched_.back().kind == kind && touched_.back().id == id;
    if (!again) touched_.push_back({kind, std::string(id)});
  }
}

void Watch::Core::touch_air(std::size_t air) {
  for (const std::string& place : airs_[air].places) touch(SubjectKind::place, place);
  for (const std::size_t jar : airs_[air].jars) {
    const auto stay = register_.at(jar).retired ? std::nullopt : stay_index(jar, *now_);
    if (stay && jars_[jar].airs[*stay] == air) touched_jars_.insert(touched_jars_.end(), jar);
  }
}

void Watch::Core::report_touched() {
  std::sort(touched_.begin(), touched_.end());
  touched_.erase(std::unique(touched_.begin(), touched_.end()), touched_.end());
  effects_.touched = std::move(touched_);
  for (const std::size_t jar : touched_jars_) {
    effects_.touched.push_back({SubjectKind::jar, register_.at(jar).id});
  }
  touched_.clear();
  touched_jars_.clear();
}

}  // namespace torpor::rules
