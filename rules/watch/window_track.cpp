#include "rules/watch/window_track.h"

#include <algorithm>

namespace torpor::rules {
namespace {

// Steps that mostly lie in the future, and the present one.
constexpr std::size_t kAhead = 2;

// Steps walked from the last look before searching from scratch.
constexpr int kNear = 4;

std::size_t lowest_bit(std::size_t n) { return n & (~n + 1); }

void widen(WindowTrack::Extremes& into, const WindowTrack::Extremes& by) {
  into.lowest = std::min(into.lowest, by.lowest);
  into.highest = std::max(into.highest, by.highest);
}

WindowTrack::Extremes just(std::int64_t value) {
  if (value == WindowTrack::kUnknown) return {};
  return {value, value};
}

}  // namespace

void WindowTrack::put(Instant from, std::int64_t value) {
  if (steps_.back().value == value) return;
  if (steps_.back().from == from) cut(from);
  if (steps_.back().value == value) return;
  append({from, value});
}

void WindowTrack::cut(Instant at) {
  while (steps_.size() > 1 && steps_.back().from >= at) steps_.pop_back();
}

void WindowTrack::append(Step step) {
  Kept kept{step, {}, just(step.value)};
  if (!steps_.empty()) {
    const Kept& last = steps_.back();
    kept.before = last.before;
    if (last.value != kUnknown) {
      const std::int64_t length = (step.from - last.from).count();
      kept.before.weighted += Wide(last.value) * length;
      kept.before.known += length;
    }
  }
  const std::size_t number = first_ + steps_.size();
  const std::size_t block_begin = number - lowest_bit(number);
  for (std::size_t n = number - 1; n > block_begin && n >= first_; n -= lowest_bit(n)) {
    widen(kept.block, steps_[n - first_].block);
  }
  steps_.push_back(kept);
}

std::size_t WindowTrack::index_at(Instant t) const {
  // The present is at the end: only what was said may run out after it.
  const std::size_t size = steps_.size();
  auto step = steps_.end();
  for (std::size_t i = size; i > 0 && size - i < kAhead; --i) {
    if ((--step)->from <= t) return i - 1;
  }
  std::size_t i = std::min(hint_, size - 1);
  for (int walked = 0; walked < kNear; ++walked) {
    if (steps_[i].from > t) {
      if (i == 0) return hint_ = 0;
      --i;
    } else if (i + 1 < steps_.size() && steps_[i + 1].from <= t) {
      ++i;
    } else {
      return hint_ = i;
    }
  }
  const auto after = std::upper_bound(steps_.begin(), steps_.end(), t,
                                      [](Instant at, const Kept& each) { return at < each.from; });
  i = after == steps_.begin() ? 0 : static_cast<std::size_t>(after - steps_.begin()) - 1;
  return hint_ = i;
}

Instant WindowTrack::next_change(Instant t) const {
  const std::size_t next = index_at(t) + 1;
  return next < steps_.size() ? steps_[next].from : kNever;
}

WindowTrack::Sum WindowTrack::sum_before(Instant t) const {
  const Kept& step = steps_[index_at(t)];
  Sum sum = step.before;
  if (step.value == kUnknown || t <= step.from) return sum;
  const std::int64_t length = (t - step.from).count();
  sum.weighted += Wide(step.value) * length;
  sum.known += length;
  return sum;
}

WindowTrack::Sum WindowTrack::sum(Instant from, Instant to) const {
  const Sum end = sum_before(to), begin = sum_before(from);
  return {end.weighted - begin.weighted, end.known - begin.known};
}

WindowTrack::Extremes WindowTrack::extremes(Instant from, Instant to) const {
  const std::size_t begin = first_ + index_at(from);
  std::size_t n = first_ + index_at(to);
  Extremes found;
  while (n >= begin) {
    const Kept& step = steps_[n - first_];
    if (n - lowest_bit(n) + 1 >= begin) {
      widen(found, step.block);
      n -= lowest_bit(n);
    } else {
      widen(found, just(step.value));
      --n;
    }
  }
  return found;
}

// The last one that began before the horizon still stands at it.
void WindowTrack::forget(Instant now) {
  const Instant horizon = now - reach_;
  for (; steps_.size() > 1 && steps_[1].from <= horizon; ++first_) steps_.pop_front();
}

std::vector<WindowTrack::Step> WindowTrack::steps() const { return {steps_.begin(), steps_.end()}; }

void WindowTrack::restore(const std::vector<Step>& steps) {
  steps_.clear();
  first_ = 1;
  for (const Step& step : steps) append(step);
}

}  // namespace torpor::rules
