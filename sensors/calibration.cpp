#include "sensors/calibration.h"

#include <algorithm>
#include <cmath>

namespace torpor {
namespace {

// Cheap sensors as they come and as they age, one standard deviation. A digital humidity sensor is
// sold as +/-3 % or 0.5 K and moves by up to several percent a year in damp air (common practice,
// no source): half of that is taken as one deviation.
struct Ageing {
  double unchecked, per_year;
};
constexpr Ageing ageing_of(Quantity quantity) {
  return quantity == Quantity::humidity ? Ageing{2.0, 1.5} : Ageing{0.3, 0.1};
}
// Nobody can say how old a sensor that was never checked is.
constexpr double kYearsUnchecked = 2.0;

constexpr Duration kOneOccasion = std::chrono::hours(24 * 14);
constexpr double kFarApart = 20.0;  // %
// A slope outside this is no sensor's ageing but a mistaken salt: one point is used.
constexpr double kLeastGain = 0.7, kMostGain = 1.3;

double years(Duration duration) {
  return static_cast<double>(duration.count()) / (365.25 * 86400.0 * 1000.0);
}

}  // namespace

void Calibration::add(const Check& check) {
  withdraw(check.quantity, check.at);
  const auto place = std::upper_bound(checks_.begin(), checks_.end(), check,
                                      [](const Check& a, const Check& b) { return a.at < b.at; });
  checks_.insert(place, check);
}

bool Calibration::withdraw(Quantity quantity, Instant at) {
  return std::erase_if(checks_, [&](const Check& check) {
           return check.quantity == quantity && check.at == at;
         }) > 0;
}

Correction Calibration::at(Quantity quantity, Instant when) const {
  const Check* newest = nullptr;
  const Check* partner = nullptr;
  for (auto check = checks_.rbegin(); check != checks_.rend(); ++check) {
    if (check->quantity != quantity || check->at > when) continue;
    if (newest == nullptr) {
      newest = &*check;
    } else if (newest->at - check->at <= kOneOccasion &&
               std::abs(newest->expected - check->expected) >= kFarApart) {
      partner = &*check;
      break;
    }
  }
  const Ageing ageing = ageing_of(quantity);
  Correction correction;
  if (newest == nullptr) {
    const double age = ageing.per_year * kYearsUnchecked;
    // Asked for with every reading of a sensor that nobody checked: half the time of std::hypot.
    correction.uncertainty = std::sqrt(ageing.unchecked * ageing.unchecked + age * age);
    return correction;
  }
  correction.checked_at = newest->at;
  correction.points = 1;
  correction.offset = newest->expected - newest->shown;
  double measured = newest->uncertainty;
  if (quantity == Quantity::humidity && partner != nullptr && newest->shown != partner->shown) {
    const double gain = (newest->expected - partner->expected) / (newest->shown - partner->shown);
    if (gain >= kLeastGain && gain <= kMostGain) {
      correction.gain = gain;
      correction.offset = newest->expected - gain * newest->shown;
      correction.points = 2;
      measured = std::max(measured, partner->uncertainty);
    }
  }
  // One point says nothing of the slope: half of what an unchecked sensor is off by remains.
  const double slope =
      quantity == Quantity::humidity && correction.points == 1 ? 0.5 * ageing.unchecked : 0.0;
  const double age = ageing.per_year * years(when - newest->at);
  correction.uncertainty = std::hypot(measured, slope, age);
  return correction;
}

double corrected(const Calibration& calibration, const Reading& reading) {
  const double value = reading.value();
  if (calibration.checks().empty()) return value;
  const Correction correction = calibration.at(reading.quantity, reading.measured_at);
  if (!correction.checked_at) return value;
  const double applied = correction.apply(value);
  return reading.quantity == Quantity::humidity ? std::clamp(applied, 0.0, 100.0) : applied;
}

double corrected(const Calibrations& calibrations, const Reading& reading) {
  return corrected(calibration_of(calibrations, reading.sensor), reading);
}

const Calibration& calibration_of(const Calibrations& calibrations, std::string_view sensor) {
  static const Calibration kNeverChecked;
  const auto known = calibrations.find(sensor);
  return known == calibrations.end() ? kNeverChecked : known->second;
}

double expected_error(const Calibration& calibration, Quantity quantity, Instant when) {
  const Correction correction = calibration.at(quantity, when);
  if (!correction.checked_at) return correction.uncertainty;
  constexpr Duration kStep = std::chrono::hours(24 * 30);
  const auto steps = (when - *correction.checked_at) / kStep;
  return calibration.at(quantity, *correction.checked_at + steps * kStep).uncertainty;
}

}  // namespace torpor
