#include "rules/culture/weighing.h"

#include <algorithm>
#include <cmath>

namespace torpor::rules::culture {

double scale_deviation(double gross_grams, const Parameters& set) {
  return std::max(set.scale_error, set.scale_error_share * gross_grams);
}

WeighingUpdate weigh(CoverBelief belief, double predicted, double measured, double deviation,
                     bool trust_loss) {
  WeighingUpdate update{belief, 0.0, 0.0};
  // What the cover's kind would have passed; the state is factor, the measurement factor x nominal.
  const double nominal = predicted / belief.factor;
  // Three standard deviations: chance alone shows more once in 700 weighings.
  const double noise = 3.0 * deviation;
  const double most_loss = std::min(0.0, nominal * kMostFactor);
  const double beyond = most_loss - measured;
  if (beyond > noise) {
    update.gas = beyond;
    return update;
  }
  const bool lost_more = measured < predicted;
  if (lost_more && !trust_loss) return update;
  const double gain =
      belief.variance * nominal / (nominal * nominal * belief.variance + deviation * deviation);
  const double factor =
      std::clamp(belief.factor + gain * (measured - predicted), kLeastFactor, kMostFactor);
  update.belief = {factor, belief.variance * (1.0 - gain * nominal)};
  update.water = factor * nominal - predicted;
  // More weight than any cover lets in is water by another way (a leak, a wet spoon): it is there.
  const double most_gain = std::max(0.0, nominal * kMostFactor);
  if (measured - most_gain > noise) update.water = measured - predicted;
  return update;
}

}  // namespace torpor::rules::culture
