// What the engine knows that makes remedies concrete: jars by when they wake, the air here,
// elsewhere and outside, and the room.
#include <algorithm>
#include <cmath>

#include "rules/watch/advice.h"
#include "rules/watch/core.h"

namespace torpor::rules {
namespace {

std::string_view outside_of(const Layout& layout) {
  for (const PlaceSpec& place : layout.places) {
    if (place.outside) return place.path;
  }
  return {};
}

}  // namespace

std::optional<LatelyAir::Air> Watch::Core::air_now(std::size_t air) const {
  const culture::Air held = airs_[air].timeline.held_at(*now_).air;
  if (!held.has_temperature()) return std::nullopt;
  LatelyAir::Air now{Celsius(held.temperature()), std::nullopt};
  if (held.has_humidity()) now.vapour = Pascal(held.vapour());
  return now;
}

// The soonest to wake first; of which nothing is known last.
std::vector<std::string> Watch::Core::by_time_to_wake(const std::vector<std::string>& jars) const {
  std::vector<std::pair<double, std::string>> ordered;
  for (const std::string& id : jars) {
    const auto jar = register_.find(id);
    const double left = jar ? model_signal(*jar, RuleQuantity::time_to_wake, *now_).value : NAN;
    ordered.emplace_back(std::isnan(left) ? HUGE_VAL : left, id);
  }
  std::sort(ordered.begin(), ordered.end());
  std::vector<std::string> ids;
  ids.reserve(ordered.size());
  for (auto& each : ordered) ids.push_back(std::move(each.second));
  return ids;
}

// Where under a roof jars can go: places that hold no others first, for that is where jars stand.
void Watch::Core::find_shelters() {
  const std::vector<PlaceSpec>& places = settings_.layout.places;
  std::set<std::string_view> holds_others;
  for (const PlaceSpec& place : places) holds_others.insert(parent_place(place.path));
  for (std::size_t i = 0; i < places.size(); ++i) {
    if (is_outside(settings_.layout, places[i].path)) continue;
    shelters_.push_back({i, air_of(places[i].path)});
  }
  std::stable_partition(shelters_.begin(), shelters_.end(), [&](const Shelter& shelter) {
    return holds_others.count(places[shelter.place].path) == 0;
  });
}

// Places under a roof where somebody is heard now, one for each air but `own`.
std::vector<AirElsewhere> Watch::Core::elsewhere_than(std::size_t own) const {
  std::vector<AirElsewhere> found;
  std::set<std::size_t> known{own};  // airs
  for (const Shelter& shelter : shelters_) {
    if (known.count(shelter.air) > 0) continue;
    const auto mean = airs_[shelter.air].lately.mean();
    const auto now = air_now(shelter.air);
    if (!mean || !now) continue;
    known.insert(shelter.air);
    found.push_back({settings_.layout.places[shelter.place].path, *mean, now});
  }
  return found;
}

void Watch::Core::advise_on(Alert& alert, const RunningRule& running,
                            std::string_view place) const {
  const Rule& rule = *running.rule;
  AdviceScene scene(settings_.utc_offset);
  scene.kind = alert.subject.kind;
  scene.now = *now_;
  scene.jars = by_time_to_wake(alert.jars);
  std::optional<culture::JarModel> model;
  if (!scene.jars.empty()) {
    const auto jar = register_.find(scene.jars.front());
    const bool known = jar && jars_[*jar].track && !jars_[*jar].track->outdated();
    if (known) model = jar_model(scene.jars.front());
    if (model) scene.model = &*model;
  }
  for (const std::string& id : scene.jars) {
    const auto jar = register_.find(id);
    if (!jar) continue;
    const double tight = model_signal(*jar, RuleQuantity::gas_tight_lid, *now_).value;
    scene.covers_known = scene.covers_known || !std::isnan(tight);
    if (tight > 0.0) scene.gas_tight.push_back(id);
  }
  scene.about_heat = running.of_heat;
  if (alert.subject.kind == SubjectKind::jar) {
    const auto jar = register_.find(alert.subject.id);
    if (jar) {
      scene.spoilage = jars_[*jar].spoilage;
      // As it was told, also while its model is worked out anew.
      scene.covers_known = scene.covers_known || jars_[*jar].track != nullptr;
      scene.gas_tight.clear();
      if (holds_gas(*jar)) scene.gas_tight.push_back(alert.subject.id);
    }
  }
  if (alert.subject.kind == SubjectKind::place && alert.jars.empty()) {
    scene.empty = register_.any_standing() || is_outside(settings_.layout, alert.subject.id)
                      ? EmptyPlace::of_no_concern
                      : EmptyPlace::on_trial;
  }
  const bool of_air =
      alert.subject.kind == SubjectKind::jar || alert.subject.kind == SubjectKind::place;
  if (of_air && !place.empty()) {
    const std::size_t air = air_of(place);
    scene.here = airs_[air].lately.mean();
    scene.here_now = air_now(air);
    scene.elsewhere = elsewhere_than(air);
    if (const auto outside = outside_of(settings_.layout); !outside.empty()) {
      const std::size_t there = air_of(outside);
      scene.outside_lately = &airs_[there].lately;
      scene.outside_now = air_now(there);
    }
    for (std::string_view at = place; !at.empty() && !scene.room_m3; at = parent_place(at)) {
      for (const PlaceSpec& each : settings_.layout.places) {
        if (each.path == at) scene.room_m3 = each.volume_m3;
      }
    }
  }
  alert.remedies = advise(rule.remedies, scene);
  alert.outlook = outlook_words(scene);
}

bool Watch::Core::holds_gas(std::size_t jar) const {
  const auto model = jar_model(register_.at(jar).id);
  return model && !culture::facts(model->figures().cover).vents_gas;
}

// The first figure of a rule that stands, at its furthest. A duration that runs needs no record.
void Watch::Core::note_worst(const Instance& instance) {
  const Rule& rule = *rules_[instance.rule].rule;
  if (!instance.met || instance.alert == 0 || is_symptom(instance)) return;
  Alert& alert = alerts_.at(instance.alert).alert;
  const auto worst = worst_of(rule, alert.worst, reader_of(instance, *now_));
  if (!worst) return;
  alert.worst = worst;
  alert.worst_at = now_;
}

// The rule's, or more where its jar wakes sooner than such a rule expects.
Urgency Watch::Core::urgency_of(const Instance& instance) const {
  const Urgency urgency = rules_[instance.rule].rule->urgency;
  if (rules_[instance.rule].of_spoilage && instance.subject.kind == SubjectKind::jar &&
      holds_gas(instance.index)) {
    return Urgency::now;  // whatever works in it works under a lid that holds its gas
  }
  if (urgency != Urgency::this_week || instance.subject.kind != SubjectKind::jar) return urgency;
  const double left = model_signal(instance.index, RuleQuantity::time_to_wake, *now_).value;
  return left < kTodayBelow ? Urgency::today : urgency;
}

// It rises when the jar turns out to wake sooner, and falls with the alert.
void Watch::Core::consider_urgency(const Instance& instance) {
  const Rule& rule = *rules_[instance.rule].rule;
  const Urgency urgency = urgency_of(instance);
  if (urgency == rule.urgency) return;
  const auto number = is_symptom(instance) ? std::optional(instance.alert)
                                           : alerts_.own(rule.name, instance.subject);
  if (!number || alerts_.at(*number).alert.urgency <= urgency) return;
  OpenAlert& open = alerts_.at(*number);
  alerts_.rise(*number, urgency, *now_);
  describe(open);
  emit(AlertChangeKind::risen, open.alert);
}

}  // namespace torpor::rules
