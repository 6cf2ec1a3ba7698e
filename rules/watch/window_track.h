// One value of an air (a quantity, or whether a condition on it holds) as a step function of time,
// kept far enough back to be summed, and searched for its extremes, over a window. All in whole
// numbers: a sum over a window does not depend on how the track came to be.
#pragma once

#include <cstdint>
#include <deque>
#include <vector>

#include "rules/watch/air_timeline.h"
#include "sensors/wide.h"

namespace torpor::rules {

class WindowTrack {
 public:
  // A step's value in millionths of the canonical unit; kUnknown: none.
  static constexpr std::int64_t kUnknown = INT64_MIN;
  struct Step {
    Instant from;  // to the next step's
    std::int64_t value = kUnknown;
    friend bool operator==(const Step&, const Step&) = default;
  };

  // Answers stay exact for windows that begin at most `reach` before the time of the last forget().
  explicit WindowTrack(Duration reach) : reach_(reach) { append({kAlways, kUnknown}); }

  // The value is this from `from` on. Precondition: not before the newest step.
  void put(Instant from, std::int64_t value);
  // Takes back what was put at `at` and later.
  void cut(Instant at);
  void forget(Instant now);

  [[nodiscard]] std::int64_t value_at(Instant t) const { return steps_[index_at(t)].value; }
  // kNever: it stays like this.
  [[nodiscard]] Instant next_change(Instant t) const;

  struct Sum {
    Wide weighted = 0;       // value times ms, where it is known
    std::int64_t known = 0;  // ms
  };
  // Over [from, to).
  [[nodiscard]] Sum sum(Instant from, Instant to) const;

  struct Extremes {
    std::int64_t lowest = INT64_MAX, highest = kUnknown;  // as they are: none known
  };
  // Of the values that it has at any time in [from, to].
  [[nodiscard]] Extremes extremes(Instant from, Instant to) const;

  // ---- for the snapshot -----------------------------------------------------------------------
  [[nodiscard]] std::vector<Step> steps() const;
  // Precondition: by time, not empty; what stands at kAlways is unknown.
  void restore(const std::vector<Step>& steps);

 private:
  struct Kept : Step {
    Sum before;  // over all time before `from`
    // Of this step and the 2^n - 1 before it, where 2^n is the lowest bit set in its number: a
    // Fenwick tree (P. Fenwick, Software: Practice and Experience 24, 1994), here for extremes.
    Extremes block;
  };

  void append(Step step);
  [[nodiscard]] std::size_t index_at(Instant t) const;
  [[nodiscard]] Sum sum_before(Instant t) const;

  Duration reach_;
  std::deque<Kept> steps_;        // by time; never empty
  std::size_t first_ = 1;         // number of steps_[0]; numbers go on for ever
  mutable std::size_t hint_ = 0;  // where the last look into the past was: the next is near
};

}  // namespace torpor::rules
