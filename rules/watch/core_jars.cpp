// The jars' models on the engine's time: what is told and read of them, and what rules ask of them.
#include <algorithm>
#include <limits>

#include "rules/watch/core.h"

namespace torpor::rules {
namespace {

// A sensor that was out of reach sends its backlog when it is back, and a jar's model takes it in
// as if it had come in time: for this long. What is older goes the way of late entries.
constexpr Duration kBacklog = std::chrono::hours(7 * 24);
// How often a jar that nobody reads is brought up to that.
constexpr Duration kGiveUpEvery = std::chrono::hours(24);

}  // namespace

JarAir Watch::Core::air_of_jar(std::size_t jar) const {
  return [this, jar](Instant t) {
    const auto& stays = register_.at(jar).stays;
    std::size_t next = 0;
    while (next < stays.size() && stays[next].told <= t) ++next;
    AirTimeline& timeline = airs_[next == 0 ? 0 : jars_[jar].airs[next - 1]].timeline;
    AirTimeline::Held held = timeline.held_at(t);
    if (next < stays.size()) held.until = std::min(held.until, stays[next].told);
    return held;
  };
}

Signal Watch::Core::model_signal(std::size_t jar, RuleQuantity quantity, Instant t) const {
  const Jar& own = jars_[jar];
  // An outdated model may be wrong in any direction: nobody is woken or calmed by it.
  if (!own.track || own.track->outdated())
    return {std::numeric_limits<double>::quiet_NaN(), false, {}, kNever};
  return own.track->signal(quantity, t, air_of_jar(jar));
}

std::optional<culture::JarModel> Watch::Core::jar_model(std::string_view id) const {
  const auto jar = register_.find(id);
  if (!jar || !jars_[*jar].track) return std::nullopt;
  JarTrack& track = *jars_[*jar].track;
  return track.model_at(std::max(now_.value_or(track.base()), track.base()), air_of_jar(*jar));
}

OutdatedJar Watch::Core::outdated_jar(std::size_t jar) const {
  const JarTrack& track = *jars_[jar].track;
  return {register_.at(jar).id, track.revision(), track.outdated_until(), track.outdated_from()};
}

std::vector<OutdatedJar> Watch::Core::outdated_jars() const {
  std::vector<OutdatedJar> outdated;
  for (std::size_t jar = 0; jar < jars_.size(); ++jar) {
    const auto& track = jars_[jar].track;
    if (!track || !track->outdated()) continue;
    outdated.push_back(outdated_jar(jar));
  }
  return outdated;
}

std::vector<JarModelBytes> Watch::Core::take_jar_models() {
  std::vector<JarModelBytes> models;
  for (const std::size_t jar : models_changed_) {
    const auto& track = jars_[jar].track;
    if (!track || track->outdated()) continue;
    models.push_back({register_.at(jar).id, track->base(), track->base_model().snapshot()});
  }
  models_changed_.clear();
  return models;
}

// ---- inputs -------------------------------------------------------------------------------------

void Watch::Core::apply(const JarClosedInput& input) {
  const auto jar = register_.find(input.jar);
  if (!jar || register_.at(*jar).retired) return;
  Jar& own = jars_[*jar];
  const bool corrects = own.track != nullptr;
  own.stage = input.stage;
  auto begun = model_split_off(input);
  const bool begins_unknown = input.split && !begun;
  const auto profile = settings_.profiles.for_stage(input.stage);
  own.track = begun ? std::make_unique<JarTrack>(profile, input.recipe, std::move(*begun))
                    : std::make_unique<JarTrack>(profile, input.recipe);
  models_changed_.insert(*jar);
  for (Jar& each : jars_) std::erase(each.split_off, *jar);
  if (const auto from = input.split ? register_.find(input.split->from) : std::nullopt) {
    jars_[*from].split_off.push_back(*jar);
  }
  // Closed before what the engine remembers of the air: the history may know that time.
  bool air_is_forgotten = false;
  for (const std::size_t air : own.airs) {
    const auto newest = airs_[air].timeline.newest();
    air_is_forgotten =
        air_is_forgotten || (newest && input.recipe.closed < *newest - settings_.late);
  }
  if (corrects || air_is_forgotten || begins_unknown) outdate_track(*jar, input.recipe.closed);
  settle_track(*jar);
  step_jar_rules(*jar, input.recipe.closed);
  if (now_) look_at_jar(*jar);
}

// What was split off goes on from the other jar as it is known now. nullopt: the engine does not
// know that time any more.
std::optional<culture::JarModel> Watch::Core::model_split_off(const JarClosedInput& input) const {
  if (!input.split) return std::nullopt;
  const auto from = register_.find(input.split->from);
  if (!from || !jars_[*from].track) return std::nullopt;
  const JarTrack& track = *jars_[*from].track;
  const Instant at = input.recipe.closed;
  if (track.outdated() || track.base() > at || !now_ || *now_ < at) return std::nullopt;
  return track.model_at(at, air_of_jar(*from)).split_off(input.recipe, input.split->contents);
}

// What becomes known of a jar from before a part of it was split off is that part's past, too.
void Watch::Core::outdate_split_off(std::size_t jar, Instant from) {
  for (const std::size_t part : jars_[jar].split_off) {
    const auto& track = jars_[part].track;
    if (track && from < track->recipe().closed) outdate_track(part, track->recipe().closed);
  }
}

void Watch::Core::apply(const JarActInput& input) {
  const auto jar = register_.find(input.jar);
  if (jar) tell_track(*jar, {input.at, input.act, false});
}

void Watch::Core::apply(const JarObservedInput& input) {
  const auto jar = register_.find(input.jar);
  if (jar) tell_track(*jar, {input.at, input.observation, false});
}

void Watch::Core::apply(const JarSpoiledInput& input) {
  const auto jar = register_.find(input.jar);
  if (!jar || register_.at(*jar).retired) return;
  jars_[*jar].spoilage = input.spoilage;
  touched_jars_.insert(*jar);
  retold_.insert(*jar);
  unsettled_places_.emplace(register_.place_of(*jar));
  if (now_) step_jar_rules(*jar, input.spoilage ? std::min(input.spoilage->at, *now_) : *now_);
}

void Watch::Core::apply(const JarOutdatedInput& input) {
  const auto jar = register_.find(input.jar);
  if (!jar) return;
  if (input.forgets && jars_[*jar].track) jars_[*jar].track->forget_told(input.from);
  outdate_track(*jar, input.from);
}

void Watch::Core::apply(const JarModelInput& input) {
  const auto jar = register_.find(input.jar);
  if (!jar || !jars_[*jar].track) return;
  JarTrack& track = *jars_[*jar].track;
  if (!track.outdated() || track.revision() != input.revision) return;
  // A model that does not fit (the profile was changed meanwhile) stays outdated under a new
  // revision, and is worked out once more.
  if (!track.replace(input.revision, input.model)) {
    return outdate_track(*jar, track.outdated_from());
  }
  models_changed_.insert(*jar);
  touched_jars_.insert(*jar);
  retold_.insert(*jar);
  settle_track(*jar);
  step_jar_rules(*jar, track.base());
}

void Watch::Core::tell_track(std::size_t jar, const JarTold& told) {
  if (!jars_[jar].track) return;
  JarTrack& track = *jars_[jar].track;
  touched_jars_.insert(jar);
  if (!told.by_sensor) retold_.insert(jar);
  if (!track.tell(told)) return outdate_track(jar, told.at);
  outdate_split_off(jar, told.at);
  step_jar_rules(jar, told.at);
}

void Watch::Core::probe_jar(const SensorSpec& sensor, const Reading& reading) {
  const auto jar = register_.find(sensor.jar);
  if (!jar || !jars_[*jar].track) return;
  const auto told = told_by(sensor, reading);
  if (!told) return;
  if (sensor.senses == Senses::headspace) {
    Instant& newest = jars_[*jar].headspace_at;
    if (newest != kAlways && told->at < newest + kHeadspaceEvery) return;
    newest = told->at;
  }
  tell_track(*jar, *told);
}

void Watch::Core::step_jar_rules(std::size_t jar, Instant from) {
  if (!now_ || from > *now_) return;
  for (const std::size_t at : jars_[jar].instances) step_instance(at, from);
}

// ---- what may still change ----------------------------------------------------------------------

// Up to here nothing known will change what the jar went through: in each of its stays the newest
// reading less what a late one may reach back.
Instant Watch::Core::settled_horizon(std::size_t jar) const {
  const auto& stays = register_.at(jar).stays;
  const Instant given_up = *now_ - kBacklog;
  Instant horizon = kAlways;
  for (std::size_t i = 0; i < stays.size(); ++i) {
    const Instant end = i + 1 < stays.size() ? stays[i + 1].told : kNever;
    const auto newest = airs_[jars_[jar].airs[i]].timeline.newest();
    const Instant known = newest ? *newest - settings_.late : kAlways;
    horizon = std::max(stays[i].told, known);
    if (known < end) break;
    horizon = end;
  }
  return std::min(std::max(horizon, given_up), *now_);
}

// A jar whose earlier air fell silent is worked out from there until its backlog is given up:
// through all that it stood in since.
Instant Watch::Core::needed_of(std::size_t air) const {
  Instant needed = kNever;
  for (const std::size_t jar : airs_[air].jars) {
    const Jar& own = jars_[jar];
    if (own.track && !own.track->outdated()) needed = std::min(needed, own.track->base());
  }
  return needed;
}

void Watch::Core::settle_track(std::size_t jar) {
  if (!now_ || !jars_[jar].track) return;
  JarTrack& track = *jars_[jar].track;
  const Instant horizon = settled_horizon(jar);
  if (horizon < track.base() + JarTrack::kLookEvery) return;
  if (track.settle(horizon, air_of_jar(jar))) models_changed_.insert(jar);
}

Instant Watch::Core::gives_up_at(std::size_t jar, Instant t) const {
  const auto& track = jars_[jar].track;
  if (!track || track->outdated()) return kNever;
  return std::max(track->base() + kBacklog + kGiveUpEvery, t + Duration(1));
}

void Watch::Core::give_up_waiting(std::size_t jar) {
  const auto& track = jars_[jar].track;
  if (!track || track->outdated() || gives_up_at(jar, kAlways) > *now_) return;
  settle_track(jar);
  for (const std::size_t at : jars_[jar].instances) {
    const auto settled = instances_[at]->machine.settled();
    if (!settled || *settled < track->base()) step_instance(at, track->base());
  }
}

void Watch::Core::outdate_track(std::size_t jar, Instant from) {
  if (!jars_[jar].track) return;
  JarTrack& track = *jars_[jar].track;
  track.outdate(from, now_ ? settled_horizon(jar) : track.base());
  effects_.outdated.push_back(outdated_jar(jar));
  touched_jars_.insert(jar);
  outdate_split_off(jar, from);
}

// A reading came too late for the rules, but not for the history: the models of the jars that stood
// in its air then do not know it.
void Watch::Core::outdate_jars_in(std::size_t air, Instant at) {
  for (const std::size_t jar : airs_[air].jars) {
    const auto stay = stay_index(jar, at);
    if (stay && jars_[jar].airs[*stay] == air) outdate_track(jar, at);
  }
}

}  // namespace torpor::rules
