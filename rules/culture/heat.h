// How a filled vessel follows the air's temperature, what heat does to the culture, and the mean
// kinetic temperature.
#pragma once

#include <array>

#include "rules/culture/profile.h"
#include "sensors/quantity.h"

namespace torpor::rules::culture {

// The filled part of a vessel as an upright cylinder, m.
struct Cylinder {
  double radius = 0.0, height = 0.0;
};

// Seconds after which 63 % of a step of the air has come through. Side and ends in parallel:
//   1/tau = 1/tau_side + 1/tau_ends, tau_side = rho c R/2 (1/h + R/(4k)), tau_ends = rho c l (1/h +
//   l/(3k)), l half the height. Within 3 % of the exact series solution for h R/k < 1.6 (computed).
[[nodiscard]] double time_constant(const Cylinder& contents, const Parameters& set);

// A first-order lag under constant air, in closed form.
struct LagStep {
  double end = 0.0;       // temperature after the interval
  double integral = 0.0;  // of the temperature over the interval, K s above 0 degC
};
[[nodiscard]] LagStep lag_step(double start, double air, double seconds, double tau, double decay);
// exp(-seconds/tau), which the caller keeps while both stay the same.
[[nodiscard]] double lag_decay(double seconds, double tau);
// Seconds of that interval above `threshold`, exactly.
[[nodiscard]] double seconds_above(double threshold, double start, double air, double seconds,
                                   double tau);

// Temperatures whose hours are counted, degC.
inline constexpr std::array<double, 4> kHarmThresholds{38.0, 40.0, 42.0, 45.0};

// Mean kinetic temperature with dH/R = 10000 K (USP <1160>: 83.144 kJ/mol over 8.3144 J/(mol K)),
// time-weighted. No measure of growth: it sums up heat.
class KineticMean {
 public:
  // exp(-10000 K / T): one sample's weight, worked out once for air that many jars share.
  [[nodiscard]] static double weight(Celsius temperature);
  void add(double weight, double seconds) {
    sum_ += weight * seconds;
    seconds_ += seconds;
  }
  [[nodiscard]] bool empty() const { return seconds_ <= 0.0; }
  // Precondition: not empty.
  [[nodiscard]] Celsius mean() const;

  template <class Archive>
  void fields(Archive& archive) {
    archive(sum_);
    archive(seconds_);
  }

 private:
  double sum_ = 0.0;
  double seconds_ = 0.0;
};

}  // namespace torpor::rules::culture
