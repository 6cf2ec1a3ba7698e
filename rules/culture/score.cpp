#include "rules/culture/score.h"

namespace torpor::rules::culture {

void score_waking(Score& score, const std::optional<Prediction>& standing, Instant seen) {
  if (!standing) {
    ++score.unforeseen;
    return;
  }
  ++score.predicted;
  if (seen < standing->earliest) {
    ++score.early;
  } else if (!standing->latest_in_sight || seen <= standing->latest) {
    ++score.inside;
  } else {
    ++score.late;
  }
}

bool score_all_well(Score& score, const std::optional<Prediction>& standing, Instant seen) {
  if (!standing || !standing->latest_in_sight || seen <= standing->latest) return false;
  ++score.predicted;
  ++score.late;
  return true;
}

}  // namespace torpor::rules::culture
