#include "rules/culture/sorption.h"

namespace torpor::rules::culture {

Sorption sorbed_water(double activity, const Parameters& set) {
  const double ka = set.gab_k * activity;
  const double p = 1.0 - ka;
  const double q = 1.0 + (set.gab_c - 1.0) * ka;
  const double inverse = 1.0 / (p * q);
  const double scale = set.binding_share * set.gab_monolayer * set.gab_c * set.gab_k;
  const double water = scale * activity * inverse;
  // (pq - a (pq)') collapses to 1 + (C-1)(Ka)^2: positive, so X always rises.
  const double slope = scale * inverse * inverse * (1.0 + (set.gab_c - 1.0) * ka * ka);
  return {water, slope};
}

double sorption_activity(double water, const Parameters& set) {
  if (water >= sorbed_water(1.0, set).water) return 1.0;
  double low = 0.0;
  double high = 1.0;
  // 60 halvings of [0, 1] reach the last bit of a double; X rises with a, so a root is always held.
  for (int i = 0; i < 60; ++i) {
    const double middle = 0.5 * (low + high);
    (sorbed_water(middle, set).water < water ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

}  // namespace torpor::rules::culture
