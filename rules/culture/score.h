// How good the predictions of one jar were: of N predicted wakings, M were seen inside the range.
#pragma once

#include <cstdint>
#include <optional>

#include "sensors/reading.h"

namespace torpor::rules::culture {

// When waking was expected; only what lay in sight is a prediction.
struct Prediction {
  Instant made_at;
  Instant earliest, latest;  // cautious and hopeful; latest may lie beyond sight
  bool latest_in_sight = false;
  friend bool operator==(const Prediction&, const Prediction&) = default;
};

struct Score {
  std::uint32_t predicted = 0;   // predictions that have been decided
  std::uint32_t inside = 0;      // waking was seen inside the range
  std::uint32_t early = 0;       // seen before it
  std::uint32_t late = 0;        // found well after its end
  std::uint32_t unforeseen = 0;  // seen while none was in sight
  friend bool operator==(const Score&, const Score&) = default;
};

// A first sign of waking was seen.
void score_waking(Score& score, const std::optional<Prediction>& standing, Instant seen);
// The jar was found well. Decides the prediction (and returns true) if its range is over.
[[nodiscard]] bool score_all_well(Score& score, const std::optional<Prediction>& standing,
                                  Instant seen);

}  // namespace torpor::rules::culture
