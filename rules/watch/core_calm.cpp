// Instances that are left alone while nothing that concerns them changes, and brought to where they
// stand when they are asked for.
#include <algorithm>

#include "rules/watch/core.h"

namespace torpor::rules {

void Watch::Core::step_sensor(std::size_t sensor, Instant at) {
  Calm& calm = sensors_[sensor].calm;
  const auto outcome = calm.comparisons.look(
      at, [&](RuleQuantity quantity) { return sensor_signal(sensor, quantity, at); });
  if (!stays_calm(calm, at, outcome)) {
    rouse(calm);
    step_members(calm, at, outcome);
  }
  arm(TimerOwner::sensor_calm, sensor, calm.until);
  for (const std::size_t instance : sensors_[sensor].instances) step_instance(instance, at);
}

// Nothing has changed for its members from where they stand to `at`, nor by what is known at `at`.
bool Watch::Core::stays_calm(Calm& calm, Instant at, const Comparisons::Outcome& outcome) {
  const bool stays =
      calm.lies && outcome.same && at > calm.settled && at < std::min(calm.until, calm.firm);
  if (!stays) return false;
  calm.settled = at;
  calm.until = outcome.until;
  for (const std::size_t member : calm.met) {
    stir(member);
    instances_[member]->stepped = true;
  }
  return true;
}

// Precondition: roused. They lie from here on, unless they stand elsewhere: `at` came late.
void Watch::Core::step_members(Calm& calm, Instant at, const Comparisons::Outcome& outcome) {
  bool is_newest = true;
  calm.firm = kNever;
  for (const std::size_t member : calm.members) {
    step_instance(member, at);
    const RuleInstance& machine = instances_[member]->machine;
    is_newest = is_newest && machine.settled() == at;
    calm.firm = std::min(calm.firm, machine.firm());
  }
  calm.lies = is_newest;
  calm.settled = at;
  calm.until = outcome.until;
}

void Watch::Core::rouse(Calm& calm) {
  if (!calm.lies) return;
  for (const std::size_t member : calm.members) {
    catch_up(*instances_[member]);
    stir(member);
  }
  calm.lies = false;
}

void Watch::Core::catch_up(Instance& instance) const {
  const Calm* calm = instance.calm;
  if (calm == nullptr || !calm->lies || instance.machine.settled() == calm->settled) return;
  instance.machine.carry_on(
      calm->settled, settings_.late,
      [&](Instant when) -> const std::vector<Signal>& { return signals_at(instance, when); });
}

Instant Watch::Core::calm_until(const Calm& calm) { return calm.lies ? calm.until : kNever; }

// nullopt: not met.
void Watch::Core::set_met(std::size_t at, Instance& instance, std::optional<std::uint64_t> alert) {
  instance.met = alert.has_value();
  instance.alert = alert.value_or(0);
  if (instance.calm == nullptr) return;
  std::erase(instance.calm->met, at);
  if (instance.met) instance.calm->met.push_back(at);
}

// What the air is from `at` on has changed.
void Watch::Core::track_windows(Air& air, Instant at, bool is_calm) {
  if (!is_calm) track_rest(air);
  for (auto& [window, track] : air.tracks) {
    if (is_calm && windows_[window]->kind == WindowKind::time_with) {
      if (!air.untracked) air.untracked = at;
    } else {
      track_window(window, track, air.timeline, at);
    }
  }
}

// What was left out while it lay calm: only the end of what was said has moved.
void Watch::Core::track_rest(Air& air) const {
  if (!air.untracked) return;
  for (auto& [window, track] : air.tracks) {
    if (windows_[window]->kind != WindowKind::time_with) continue;
    track.cut(*air.untracked);
    track_window(window, track, air.timeline, air.calm.settled);
  }
  air.untracked.reset();
}

}  // namespace torpor::rules
