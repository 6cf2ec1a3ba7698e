#include "rules/watch/rule_instance.h"

#include <algorithm>

namespace torpor::rules {
namespace {

// State changes kept to go back to. A sensor that trembles about a limit can make one with every
// reading; from then on a late reading reaches back only as far as these do.
constexpr std::size_t kMostEntries = 128;

}  // namespace

void RuleInstance::step(Instant at, Duration late, const SignalsAt& signals) {
  Instant from = at;
  if (start_) from = std::max(from, *start_);
  const Instant target = settled_ ? std::max(*settled_, from) : from;
  Instant next = from;
  if (settled_ && from <= *settled_) {
    next = std::max({from, *settled_ - late, frozen_ + Duration(1)});
    if (next > *settled_) return;
    while (!log_.empty() && log_.back().from >= next) log_.pop_back();
  } else if (settled_) {
    next = std::min(settled_next_.due, from);
  }
  ConditionState state = log_.empty() ? ConditionState{} : log_.back().state;
  NextLook look;
  while (next <= target) {
    look = evaluate(*program_, signals(next), next, state);
    if (log_.empty() || !(log_.back().state == state)) log_.push_back({next, state});
    // A look that was due exactly at, or before, the reading must still see the reading itself.
    next = next < from && look.due > from ? from : look.due;
  }
  settled_ = target;
  settled_next_ = look;
  forget_old(late);
}

void RuleInstance::carry_on(Instant at, Duration late, const SignalsAt& signals) {
  ConditionState state = log_.back().state;
  settled_next_ = evaluate(*program_, signals(at), at, state);
  settled_ = at;
  forget_old(late);
}

RuleInstance::Head RuleInstance::head(Instant now, const SignalsAt& signals) const {
  if (!settled_) return {};
  if (start_ && now < *start_) return {false, {}, {*start_, *start_}};
  const Instant t = std::max(now, *settled_);
  const ConditionState& settled = log_.back().state;
  if (settled_next_.due > t) return {settled.met, settled.met_since, settled_next_};
  ConditionState state = settled;
  NextLook next = settled_next_;
  while (next.due <= t) next = evaluate(*program_, signals(next.due), next.due, state);
  return {state.met, state.met_since, next};
}

void RuleInstance::forget_old(Duration late) {
  const Instant cutoff = *settled_ - late;
  // The newest entry from before the cutoff is what a reading at the cutoff goes back to.
  std::size_t drop = 0;
  while (drop + 1 < log_.size() && log_[drop + 1].from < cutoff) ++drop;
  if (log_.size() - drop > kMostEntries) {
    drop = log_.size() - kMostEntries;
    frozen_ = log_[drop].from;
  }
  if (drop > 0) log_.erase(log_.begin(), log_.begin() + static_cast<std::ptrdiff_t>(drop));
}

RuleInstance::Saved RuleInstance::save() const {
  return {start_, settled_, settled_next_.due, frozen_, log_};
}

void RuleInstance::restore(Saved saved) {
  start_ = saved.start;
  settled_ = saved.settled;
  settled_next_ = {saved.settled_due, saved.settled_due};
  frozen_ = saved.frozen;
  log_ = std::move(saved.log);
}

void RuleInstance::carry_met(Instant met_since, Instant at) {
  log_ = {{at, ConditionState{true, met_since, {}}}};
  settled_ = at;
  settled_next_ = {at + Duration(1), at + Duration(1)};
  frozen_ = at;
}

}  // namespace torpor::rules
