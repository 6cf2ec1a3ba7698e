// What a value comes to over a window, as a signal: from the tracks of the airs that the subject
// stood in during the window.
#pragma once

#include <vector>

#include "rules/book/condition_tree.h"
#include "rules/watch/evaluator.h"
#include "rules/watch/window_track.h"

namespace torpor::rules {

// The window lies in [from, to) of this track; the last piece's `to` is the moment itself, and
// counts.
struct WindowPiece {
  const WindowTrack* track = nullptr;
  Instant from, to;
};

// The window (t - length, t]: with the value held at its start, weighted by time, unknown where
// less than three quarters of it are known. `pieces` cover it from t - length to t, one or more;
// `stays_until` is when the subject leaves the last one's air. The answer may point to `drift`.
[[nodiscard]] Signal window_signal(const Window& window, const std::vector<WindowPiece>& pieces,
                                   Instant t, Instant stays_until, Drift& drift);

// A figure in millionths, as tracks hold it.
[[nodiscard]] std::int64_t in_millionths(double value);

// The value, or the truth, that the window looks at, in one air: at `t` and from then on.
struct WindowInput {
  std::int64_t value = WindowTrack::kUnknown;
  Instant until = kNever;
};
[[nodiscard]] WindowInput window_input(const Window& window, AirTimeline& air, Instant t);

}  // namespace torpor::rules
