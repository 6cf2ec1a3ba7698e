#include "sensors/agreement.h"

#include <fmt/format.h>

#include <algorithm>
#include <cassert>
#include <cmath>

namespace torpor {
namespace {

constexpr std::int64_t kHour = 3'600'000;  // ms

// Apart: more than two cheap sensors of the usual tolerance (0.5 K, 3 %) can differ in one air,
// with a little for where in the place they hang. Drift: what a salt test would correct.
// Common practice, no source.
struct Tolerance {
  double apart, drift;
};
constexpr Tolerance tolerance_of(Quantity quantity) {
  return quantity == Quantity::temperature ? Tolerance{1.5, 0.6} : Tolerance{7.0, 3.0};
}
// An airing passes sensors one after the other; two hours apart may be that.
constexpr int kHoursToDoubt = 3;
constexpr int kHoursToBelieve = 6;
// A day counts with half its hours.
constexpr int kLeastHours = 12;
constexpr std::size_t kWeek = 7;
constexpr std::size_t kMonth = 30;

double median_of(std::vector<double> values) {
  assert(!values.empty());
  std::sort(values.begin(), values.end());
  const std::size_t half = values.size() / 2;
  return values.size() % 2 == 1 ? values[half] : 0.5 * (values[half - 1] + values[half]);
}

}  // namespace

Agreement::Agreement(Quantity quantity, std::size_t sensors)
    : quantity_(quantity), voices_(sensors) {}

void Agreement::add(std::size_t sensor, Instant at, double value) {
  const std::int64_t hour = unix_ms(at) / kHour;
  if (hour_ && hour < *hour_) return;  // its hour is closed
  if (hour_ && hour > *hour_) {
    close_hour();
    if (hour / 24 != *hour_ / 24) close_day();
    if (hour > *hour_ + 1) median_before_.reset();
  }
  hour_ = hour;
  voices_[sensor].sum += value;
  ++voices_[sensor].count;
}

void Agreement::close_hour() {
  std::vector<double> means;
  for (const Voice& voice : voices_) {
    if (voice.count > 0) means.push_back(voice.sum / voice.count);
  }
  compared_ = means.size();
  const std::optional<double> median =
      means.size() < 2 ? std::nullopt : std::optional(median_of(means));
  for (Voice& voice : voices_) {
    voice.difference.reset();
    if (voice.count > 0 && median) {
      const double mean = voice.sum / voice.count;
      // Of two the median is the middle: their difference is twice the distance from it.
      const double scale = means.size() == 2 ? 2.0 : 1.0;
      voice.difference = scale * (mean - *median);
      voice.day_sum += *voice.difference;
      ++voice.day_hours;
      const double before = median_before_.value_or(*median);
      const double low = std::min(before, *median), high = std::max(before, *median);
      const double gap = scale * (mean > high ? mean - high : mean < low ? low - mean : 0.0);
      const bool apart = gap > tolerance_of(quantity_).apart;
      voice.hours_apart = apart ? voice.hours_apart + 1 : 0;
      voice.hours_agreed = apart ? 0 : voice.hours_agreed + 1;
      if (voice.hours_apart >= kHoursToDoubt) voice.apart = true;
      if (voice.hours_agreed >= kHoursToBelieve) voice.apart = false;
    }
    voice.sum = 0.0;
    voice.count = 0;
  }
  median_before_ = median;
}

void Agreement::close_day() {
  for (Voice& voice : voices_) {
    if (voice.day_hours >= kLeastHours) {
      const double mean = voice.day_sum / voice.day_hours;
      if (voice.beginning.size() < kWeek) voice.beginning.push_back(mean);
      voice.days.push_back(mean);
      if (voice.days.size() > kMonth) voice.days.erase(voice.days.begin());
    }
    voice.day_sum = 0.0;
    voice.day_hours = 0;
  }
}

std::optional<double> Agreement::drift(const Voice& voice) const {
  if (voice.beginning.size() < kWeek || voice.days.size() < 2 * kWeek) return std::nullopt;
  const std::vector<double> lately(voice.days.end() - static_cast<std::ptrdiff_t>(kWeek),
                                   voice.days.end());
  return median_of(lately) - median_of(voice.beginning);
}

std::optional<double> Agreement::difference(std::size_t sensor) const {
  return voices_[sensor].difference;
}

Judgement Agreement::of(std::size_t sensor) const {
  const Voice& voice = voices_[sensor];
  const std::string_view unit = quantity_ == Quantity::temperature ? "K" : "%";
  Judgement judgement;
  if (voice.apart && voice.difference) {
    judgement.doubts |= kDisagrees;
    const std::string apart = fmt::format("{:+.1f} {}", *voice.difference, unit);
    if (compared_ >= 3) {
      judgement.doubts |= kOddOneOut;
      judgement.reasons.push_back(fmt::format(
          "{} from the sensors beside it, which agree: check it in table salt or ice, or hang it "
          "where they hang",
          apart));
    } else {
      judgement.reasons.push_back(fmt::format(
          "{} from the sensor beside it; one of the two is wrong: check both in table salt or ice",
          apart));
    }
  }
  const auto drifted = drift(voice);
  if (drifted && std::abs(*drifted) > tolerance_of(quantity_).drift) {
    judgement.doubts |= kDrifts;
    judgement.reasons.push_back(fmt::format(
        "has moved {:+.1f} {} against the sensors beside it since their first week: check it in "
        "table salt or ice",
        *drifted, unit));
  }
  return judgement;
}

}  // namespace torpor
