#include "rules/culture/sugar.h"

#include <cmath>

namespace torpor::rules::culture {
namespace {

// a = x_w exp(-b^2), b = (kr . amounts)/total; with da by water for total' and b' as given.
SolutionActivity norrish(double water, double total, double weighted, double total_slope,
                         double weighted_slope) {
  const double inverse = 1.0 / total;
  const double x_water = water * inverse;
  const double b = weighted * inverse;
  const double activity = x_water * std::exp(-b * b);
  const double b_slope = (weighted_slope - b * total_slope) * inverse;
  const double x_slope = (1.0 - x_water * total_slope) * inverse;
  return {activity, activity * (x_slope / x_water - 2.0 * b * b_slope)};
}

}  // namespace

double sucrose_solubility_percent(Celsius temperature) {
  const double t = temperature.value();
  return 64.447 + t * (0.08222 + t * (1.6169e-3 + t * (-1.558e-6 - 4.63e-8 * t)));
}

double sucrose_per_water(Celsius temperature) {
  const double percent = sucrose_solubility_percent(temperature);
  return percent / (100.0 - percent);
}

SolutionActivity solution_activity(double water, double sucrose, double invert,
                                   double root_k_sucrose, double root_k_invert) {
  return norrish(water, water + sucrose + invert, root_k_sucrose * sucrose + root_k_invert * invert,
                 1.0, 0.0);
}

SolutionActivity saturated_activity(double water, double sucrose_per_water, double invert,
                                    double root_k_sucrose, double root_k_invert) {
  const double sucrose = sucrose_per_water * water;
  return norrish(water, water + sucrose + invert, root_k_sucrose * sucrose + root_k_invert * invert,
                 1.0 + sucrose_per_water, root_k_sucrose * sucrose_per_water);
}

SugarMakeup makeup(SugarKind kind, const Parameters& set) {
  switch (kind) {
    case SugarKind::white:
      return {set.white_water, 1.0 - set.white_water - set.white_invert, set.white_invert};
    case SugarKind::brown:
      return {set.brown_water, 1.0 - set.brown_water - set.brown_invert - set.brown_other,
              set.brown_invert};
    case SugarKind::raw:
      break;
  }
  return {set.raw_water, 1.0 - set.raw_water - set.raw_invert - set.raw_other, set.raw_invert};
}

}  // namespace torpor::rules::culture
