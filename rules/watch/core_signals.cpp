// What the slots of an instance's program are worth at a moment, and how they go on.
#include <algorithm>
#include <limits>

#include "rules/watch/core.h"

namespace torpor::rules {
namespace {

constexpr double kUnknown = std::numeric_limits<double>::quiet_NaN();

}  // namespace

const std::vector<Signal>& Watch::Core::signals_at(const Instance& instance, Instant t) const {
  const std::size_t count = rules_[instance.rule].program.slots.size();
  signals_.resize(count);
  if (drifts_.size() < count) drifts_.resize(count);
  for (std::size_t i = 0; i < count; ++i) signals_[i] = slot_signal(instance, i, t);
  return signals_;
}

// A drift it points to lasts until the next one of that slot.
Signal Watch::Core::slot_signal(const Instance& instance, std::size_t slot, Instant t) const {
  const RunningRule& rule = rules_[instance.rule];
  if (rule.program.slots[slot].window) return window_signal_at(instance, slot, t);
  return signal_at(instance, rule.program.slots[slot].quantity, rule.slot_airs[slot], t);
}

Signal Watch::Core::window_signal_at(const Instance& instance, std::size_t slot, Instant t) const {
  const RunningRule& rule = rules_[instance.rule];
  const Window& window = *rule.program.slots[slot].window;
  const auto track = [&](std::size_t air) {
    if (window.kind == WindowKind::time_with) track_rest(airs_[air]);
    return &airs_[air].tracks.at(rule.slot_windows[slot]);
  };
  const Instant start = t - window.length;
  pieces_.clear();
  Instant stays_until = kNever;
  if (rule.slot_airs[slot] != kOwn || instance.subject.kind != SubjectKind::jar) {
    const bool is_own = rule.slot_airs[slot] == kOwn;
    pieces_.push_back({track(is_own ? instance.own_air : rule.slot_airs[slot]), start, t});
  } else {
    for (Instant from = start;;) {
      stays_until = kNever;
      const std::size_t air = jar_air_at(instance.index, from, stays_until);
      pieces_.push_back({track(air), from, std::min(stays_until, t)});
      if (stays_until > t) break;
      from = stays_until;
    }
  }
  if (drifts_.size() <= slot) drifts_.resize(slot + 1);
  return window_signal(window, pieces_, t, stays_until, drifts_[slot]);
}

Signal Watch::Core::signal_at(const Instance& instance, const QuantityAt& quantity,
                              std::size_t slot_air, Instant t) const {
  switch (source_of(quantity.quantity)) {
    case Source::link:
      return link_signal(t);
    case Source::disk:
      return disk_signal(t);
    case Source::clock:
      return clock_signal(t);
    case Source::silence:
    case Source::judges:
    case Source::judges_since:
      return sensor_signal(instance.index, quantity.quantity, t);
    case Source::spoilage:
      return spoiled_signal(instance.index, t);
    case Source::model:
    case Source::forecast:
    case Source::telling:
      return model_signal(instance.index, quantity.quantity, t);
    case Source::air:
      break;
  }
  if (slot_air != kOwn) return air_signal(slot_air, quantity.quantity, t);
  if (instance.subject.kind != SubjectKind::jar) {
    return air_signal(instance.own_air, quantity.quantity, t);
  }
  Instant until = kNever;
  const std::size_t air = jar_air_at(instance.index, t, until);
  Signal signal = air_signal(air, quantity.quantity, t);
  signal.until = std::min(signal.until, until);
  return signal;
}

Signal Watch::Core::air_signal(std::size_t air, RuleQuantity quantity, Instant t) const {
  const AirTimeline::Spoken spoken = airs_[air].timeline.value_at(quantity, t);
  return {spoken.value, false, {}, spoken.until};
}

Signal Watch::Core::sensor_signal(std::size_t sensor, RuleQuantity quantity, Instant t) const {
  if (source_of(quantity) != Source::silence) return judges_.signal(sensor, quantity, t);
  const SensorTrack& track = sensors_[sensor].track;
  const auto origin = track.silent_since(t);
  if (!origin) return {kUnknown, false, {}, track.first_known.value_or(kNever)};
  return {0.0, true, *origin, track.next_reading(t).value_or(kNever)};
}

Signal Watch::Core::spoiled_signal(std::size_t jar, Instant t) const {
  const auto& spoilage = jars_[jar].spoilage;
  if (!spoilage) return {0.0, false, {}, kNever};
  if (t < spoilage->at) return {0.0, false, {}, spoilage->at};
  return {1.0, false, {}, kNever};
}

Signal Watch::Core::link_signal(Instant t) const {
  Signal signal{kUnknown, false, {}, kNever};
  for (const LinkEvent& event : link_) {
    if (event.at > t) {
      signal.until = event.at;
      break;
    }
    signal = event.connected ? Signal{0.0, false, {}, kNever} : Signal{0.0, true, event.at, kNever};
  }
  return signal;
}

Signal Watch::Core::disk_signal(Instant t) const {
  Signal signal{kUnknown, false, {}, kNever};
  for (const BoardFigure& figure : disk_free_) {
    if (figure.at > t) {
      signal.until = figure.at;
      break;
    }
    signal.value = figure.value;
  }
  return signal;
}

Signal Watch::Core::clock_signal(Instant t) const {
  Signal signal{0.0, false, {}, kNever};
  for (const BoardFigure& step : clock_steps_) {
    const Instant end = step.at + kStepRemembered;
    if (end <= t) continue;
    signal.until = std::min(signal.until, step.at > t ? step.at : end);
    if (step.at <= t) signal.value = std::max(signal.value, step.value);
  }
  return signal;
}

std::optional<std::size_t> Watch::Core::stay_index(std::size_t jar, Instant t) const {
  const auto& stays = register_.at(jar).stays;
  for (std::size_t i = stays.size(); i > 0; --i) {
    if (stays[i - 1].from <= t) return i - 1;
  }
  return std::nullopt;
}

std::size_t Watch::Core::jar_air_at(std::size_t jar, Instant t, Instant& until) const {
  const auto stay = stay_index(jar, t);
  const auto& stays = register_.at(jar).stays;
  const std::size_t next = stay ? *stay + 1 : 0;
  if (next < stays.size()) until = stays[next].from;
  return stay ? jars_[jar].airs[*stay] : 0;
}

RuleInstance::Head Watch::Core::head_of(Instance& instance) const {
  catch_up(instance);
  return instance.machine.head(*now_, [&](Instant when) -> const std::vector<Signal>& {
    return signals_at(instance, when);
  });
}

}  // namespace torpor::rules
