#include "rules/culture/heat.h"

#include <algorithm>
#include <cmath>

#include "rules/air/psychrometrics.h"

namespace torpor::rules::culture {
namespace {
constexpr double kActivation = 10000.0;  // dH/R, K
}  // namespace

double time_constant(const Cylinder& contents, const Parameters& set) {
  const double capacity = set.packed_density * set.contents_heat_capacity;
  const double h = set.film_coefficient;
  const double k = set.contents_conductivity;
  const double r = contents.radius;
  const double l = 0.5 * contents.height;
  const double side = capacity * 0.5 * r * (1.0 / h + r / (4.0 * k));
  const double ends = capacity * l * (1.0 / h + l / (3.0 * k));
  return side * ends / (side + ends);
}

double lag_decay(double seconds, double tau) { return std::exp(-seconds / tau); }

LagStep lag_step(double start, double air, double seconds, double tau, double decay) {
  const double gap = start - air;
  return {air + gap * decay, air * seconds + gap * tau * (1.0 - decay)};
}

double seconds_above(double threshold, double start, double air, double seconds, double tau) {
  const double end = air + (start - air) * std::exp(-seconds / tau);
  const bool above_first = start > threshold;
  const bool above_last = end > threshold;
  if (above_first == above_last) return above_first ? seconds : 0.0;
  const double crossing =
      std::clamp(tau * std::log((start - air) / (threshold - air)), 0.0, seconds);
  return above_first ? crossing : seconds - crossing;
}

double KineticMean::weight(Celsius temperature) {
  return std::exp(-kActivation / (temperature.value() + air::kZeroCelsius));
}

Celsius KineticMean::mean() const {
  return Celsius(kActivation / -std::log(sum_ / seconds_) - air::kZeroCelsius);
}

}  // namespace torpor::rules::culture
