#include "daemon/ledger/mean_kinetic.h"

#include <cmath>

namespace torpor::daemon {

namespace {

constexpr double kActivationKelvin = 10'000;  // dH/R, see the header
constexpr double kZeroCelsius = 273.15;
// Keeps the exponentials near 1, so that nothing is lost in long sums; it cancels in the result.
constexpr double kReference = 298.15;

}  // namespace

void MeanKinetic::add(Celsius temperature, Duration time) {
  if (time <= Duration::zero()) return;
  const double weight = static_cast<double>(time.count());
  const double kelvin = temperature.value() + kZeroCelsius;
  sums_.weighted += weight * std::exp(kActivationKelvin / kReference - kActivationKelvin / kelvin);
  sums_.time_ms += weight;
}

void MeanKinetic::add(const MeanKinetic& other) {
  sums_.weighted += other.sums_.weighted;
  sums_.time_ms += other.sums_.time_ms;
}

std::optional<Celsius> MeanKinetic::value() const {
  if (sums_.time_ms <= 0.0) return std::nullopt;
  const double kelvin = kActivationKelvin /
                        (kActivationKelvin / kReference - std::log(sums_.weighted / sums_.time_ms));
  return Celsius(kelvin - kZeroCelsius);
}

}  // namespace torpor::daemon
