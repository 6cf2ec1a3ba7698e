// What a weighing says about water: a scalar Kalman update of how much better or worse the cover
// passes vapour than its kind, and of the water that follows from it. Lost weight that drying
// cannot explain is gas: a sign of work, never of safety.
#pragma once

#include "rules/culture/profile.h"

namespace torpor::rules::culture {

// What is believed of a cover: a factor on its kind's permeance.
struct CoverBelief {
  double factor = 1.0;
  double variance = 0.25;  // prior sd .5: kinds spread by a factor of about two either way
};
// A cover passes at least a fifth and at most five times what its kind does; beyond that the weight
// has another cause.
inline constexpr double kLeastFactor = 0.2;
inline constexpr double kMostFactor = 5.0;

struct WeighingUpdate {
  CoverBelief belief;
  double water = 0.0;  // g to add to the modelled water (negative: to take)
  double gas = 0.0;    // g lost that no drying explains; 0 or more
};

// Standard deviation of one weighing, g.
[[nodiscard]] double scale_deviation(double gross_grams, const Parameters& set);

// `predicted`: g of water the model says came in since the last weighing (negative: left).
// `measured`: g the scale says, acts already taken out. `deviation`: of that difference.
// `trust_loss`: false for the cautious set, which takes no unpredicted loss for drying.
[[nodiscard]] WeighingUpdate weigh(CoverBelief belief, double predicted, double measured,
                                   double deviation, bool trust_loss);

}  // namespace torpor::rules::culture
