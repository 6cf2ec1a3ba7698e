// One moment of one rule instance: signals -> truths -> the state of its conditions, and when it
// must be looked at again. Pure; time goes forward from call to call.
//
// Truth is Kleene's: unknown is neither true nor false. It never raises and never eases.
#pragma once

#include <cstdint>
#include <vector>

#include <boost/container/small_vector.hpp>

#include "rules/watch/air_timeline.h"
#include "rules/watch/program.h"
#include "rules/watch/window_track.h"

namespace torpor::rules {

enum class Truth : std::uint8_t { unknown, no, yes };

// A value over a window moves with every moment: sum / weight, each changing by its rate per ms.
// Whole numbers, so that the ms at which it passes a limit is exact.
struct Drift {
  Wide sum = 0;  // millionths times ms; of a time, ms
  std::int64_t sum_rate = 0;
  std::int64_t weight = 1;  // ms; of a time, 1
  std::int64_t weight_rate = 0;
  bool is_time = false;
};

// A quantity at a moment, and how it goes on without further readings.
struct Signal {
  double value = 0.0;  // canonical; NaN: unknown. Unused when it ramps
  bool ramps = false;  // a duration: the time since `origin`
  Instant origin;
  Instant until = kNever;        // like this until then (exclusive)
  Instant firm_until = kNever;   // of a window: until then, even if its newest value goes on
  const Drift* drift = nullptr;  // `value` is of this moment only; as long as its owner keeps it
};

// What one `lasting` remembers.
//
// Raising side: `since` is when its condition became true; anything else takes that away.
// Easing side:  `since` likewise, and `banked` what counted before the condition was last unknown:
//               unknown stops the clock, false sets it back.
struct LastingState {
  Instant since = kAlways;  // kAlways: not running
  Duration banked{};
  friend bool operator==(const LastingState&, const LastingState&) = default;
};

struct ConditionState {
  bool met = false;   // raised and not eased
  Instant met_since;  // when `when` became true; meaningful while met
  boost::container::small_vector<LastingState, 2> lastings;  // of most rules one or two
  friend bool operator==(const ConditionState&, const ConditionState&) = default;
};

// `signal` is what the clause compares, of a difference the difference.
[[nodiscard]] Truth truth_of(const ProgramClause& clause, const Signal& signal, Instant t);
// A clause's comparison and limits without its signals.
[[nodiscard]] ProgramClause flat_clause(const Clause& clause);
// Of two quantities that neither ramp nor drift. Unknown if either is.
[[nodiscard]] Signal difference(const Signal& of, const Signal& minus);

// When a ramp passes a limit of the clause next; kNever: it does not.
[[nodiscard]] Instant next_crossing(const ProgramClause& clause, const Signal& signal, Instant t);

// When to look next, should nothing arrive; kNever: not at all.
struct NextLook {
  Instant due = kNever;
  // The same without what the end of a value and the passing of a limit by time bring about, which
  // the next reading may put off: what has to last, and what leaves a window.
  Instant firm = kNever;
};

// Brings `state` to `t`. `signals[i]` is program.slots[i] at `t`. Looking again at the same `t`
// changes nothing.
//
// `when` wins over `until`: an alert does not end while its own reason is true.
[[nodiscard]] NextLook evaluate(const Program& program, const std::vector<Signal>& signals,
                                Instant t, ConditionState& state);

}  // namespace torpor::rules
