#include "rules/air/psychrometrics.h"

#include <algorithm>
#include <cassert>
#include <cmath>

namespace torpor::rules::air {
namespace {

// Sonntag, D., 1990: Important new values of the physical constants of 1986, vapour pressure
// formulations based on the ITS-90, and psychrometer formulae. Z. Meteorol. 70, 340-344, eq. for
// water: ln e[Pa] = a/T + b + c T + d T^2 + f ln T, -100 to 100 degC. The constant is that for
// pascals, 16.635794 + ln 100.
constexpr double kA = -6096.9385;
constexpr double kB = 21.2409642;
constexpr double kC = -2.711193e-2;
constexpr double kD = 1.673952e-5;
constexpr double kF = 2.433502;

// Specific gas constant of water vapour, J/(kg K): 8.314462618 / 0.01801527 (CODATA 2018; IAPWS
// molar mass).
constexpr double kVapourGasConstant = 461.523;
// Molar mass of water over that of dry air. ASHRAE Fundamentals since 2009; 0.62198 before.
constexpr double kMolarMassRatio = 0.621945;

double log_saturation(double kelvin) {
  return kA / kelvin + kB + (kC + kD * kelvin) * kelvin + kF * std::log(kelvin);
}

// d(ln e)/dT. Positive at every temperature: the pressure is monotonic and has one inverse.
double log_saturation_slope(double kelvin) {
  return -kA / (kelvin * kelvin) + kC + 2.0 * kD * kelvin + kF / kelvin;
}

}  // namespace

Pascal saturation_vapour_pressure(Celsius temperature) {
  return Pascal(std::exp(log_saturation(temperature.value() + kZeroCelsius)));
}

Pascal vapour_pressure(Celsius temperature, Percent humidity) {
  return Pascal(humidity.value() / 100.0 * saturation_vapour_pressure(temperature).value());
}

Celsius dew_point(Pascal vapour_pressure) {
  assert(vapour_pressure.value() > 0.0);
  // Newton in 1/T, where ln e is nearly a straight line. From the Magnus guess, itself within
  // 0.03 K from 0 to 50 degC, two steps reach the last digit; the bounds only matter for pressures
  // no air has, where the guess has a pole.
  constexpr int kMostSteps = 12;
  constexpr double kEnough = 1e-13;  // relative change of 1/T: 3e-11 K
  const double log_pressure = std::log(vapour_pressure.value());
  const double magnus = std::log(vapour_pressure.value() / 611.2);
  const double guess = kZeroCelsius + 243.12 * magnus / (17.62 - std::min(magnus, 12.0));
  double inverse = 1.0 / std::clamp(guess, 100.0, 700.0);
  for (int step = 0; step < kMostSteps; ++step) {
    const double kelvin = 1.0 / inverse;
    const double miss = log_saturation(kelvin) - log_pressure;
    // d(ln e)/d(1/T) = -T^2 d(ln e)/dT
    const double change = miss / (log_saturation_slope(kelvin) * kelvin * kelvin);
    inverse += change;
    if (std::abs(change) <= kEnough * inverse) break;
  }
  return Celsius(1.0 / inverse - kZeroCelsius);
}

GramsPerCubicMetre absolute_humidity(Celsius temperature, Pascal vapour_pressure) {
  const double kelvin = temperature.value() + kZeroCelsius;
  return GramsPerCubicMetre(1000.0 * vapour_pressure.value() / (kVapourGasConstant * kelvin));
}

HumidityRatio humidity_ratio(Pascal vapour_pressure, Pascal total) {
  assert(vapour_pressure < total);
  return HumidityRatio(kMolarMassRatio * vapour_pressure.value() /
                       (total.value() - vapour_pressure.value()));
}

Percent relative_humidity(Celsius temperature, Pascal vapour_pressure) {
  return Percent(100.0 * vapour_pressure.value() / saturation_vapour_pressure(temperature).value());
}

}  // namespace torpor::rules::air
