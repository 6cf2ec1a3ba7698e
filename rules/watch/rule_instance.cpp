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
    next = std::min(settled_due_, from);
  }
  ConditionState state = log_.empty() ? ConditionState{} : log_.back().state;
  while (next <= target) {
    const Instant due = evaluate(*program_, signals(next), next, state);
    if (log_.empty() || !(log_.back().state == state)) log_.push_back({next, state});
    // A look that was due exactly at, or before, the reading must still see the reading itself.
    next = next < from && due > from ? from : due;
  }
  settled_ = target;
  settled_due_ = next;
  forget_old(late);
}

RuleInstance::Head RuleInstance::head(Instant now, const SignalsAt& signals) const {
  if (!settled_) return {};
  if (start_ && now < *start_) return {false, {}, *start_};
  const Instant t = std::max(now, *settled_);
  const ConditionState& settled = log_.back().state;
  if (settled_due_ > t) return {settled.met, settled.met_since, settled_due_};
  ConditionState state = settled;
  Instant next = settled_due_;
  while (next <= t) next = evaluate(*program_, signals(next), next, state);
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
  return {start_, settled_, settled_due_, frozen_, log_};
}

void RuleInstance::restore(Saved saved) {
  start_ = saved.start;
  settled_ = saved.settled;
  settled_due_ = saved.settled_due;
  frozen_ = saved.frozen;
  log_ = std::move(saved.log);
}

void RuleInstance::carry_met(Instant met_since, Instant at) {
  log_ = {{at, ConditionState{true, met_since, {}}}};
  settled_ = at;
  settled_due_ = at + Duration(1);
  frozen_ = at;
}

}  // namespace torpor::rules
