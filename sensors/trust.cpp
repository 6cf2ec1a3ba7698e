#include "sensors/trust.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "sensors/shown_number.h"

namespace torpor {
namespace {

using std::chrono::hours;
using std::chrono::minutes;
using std::chrono::seconds;

// How fast air can change where a sensor hangs: a step that a draught makes between two readings,
// and a rate. No source: a door opened to frost moves a small sensor (time constant about a minute)
// by a few kelvin a minute; breath and steam move humidity by tens of percent a minute. In 17 days
// of an office by the minute the largest changes stay well inside.
// A leap is more than carrying a sensor from a warm room into frost, or steam, can make.
struct ChangeLimits {
  double step, per_minute;
  double leap;        // a step beyond this is not believed
  double shown;       // smallest difference that tells two devices apart
  double reading;     // a converted value fits the level within this
  double resolution;  // a step of the coarsest sensor; what never moved so little is not known
};
constexpr ChangeLimits kTemperatureChange{2.0, 1.0, 25.0, 0.4, 2.0, 1.0};
constexpr ChangeLimits kHumidityChange{8.0, 4.0, 45.0, 1.5, 6.0, 2.0};
const ChangeLimits& limits_of(Quantity quantity) {
  return quantity == Quantity::temperature ? kTemperatureChange : kHumidityChange;
}

// A new level is believed once it has stood this long: the sensor was moved, or the room changed.
constexpr std::size_t kReadingsOfNewLevel = 3;
constexpr Duration kStandingOfNewLevel = minutes(15);

// Calm: how long the same value may stand. Until three days are known, as in a deep cellar; then
// four times the calmest this air has shown. Under a cover a week is nothing unusual.
constexpr Duration kLearning = hours(72);
constexpr Duration kCalmUnlearned = hours(24);
constexpr Duration kCalmLeast = hours(3);
constexpr Duration kCalmMost = hours(120);
constexpr Duration kCalmEnclosed = hours(24 * 14);
constexpr int kCalmTimes = 4;
// A run of calm that ends by at most so many steps of the resolution ended as air does.
constexpr double kCreep = 4.0;

// A capacitive element wetted by dew reads 100 % until it has dried (common practice, no source).
constexpr double kAtStop = 99.5, kOffStop = 97.0;
constexpr Duration kWetForLong = hours(6);
constexpr Duration kDryAgain = hours(1);

// Outdoors air is saturated for hours in fog and rain, and a sensor there stands still near its
// stop (the best read 98 to 100 % then; common practice, no source). What tells a stuck or wetted
// one from fog is warmth: saturated air that warms by 6 K and takes up nothing falls to about 68 %.
// Fog that never lifts for three days is rarer than a dead sensor.
constexpr double kFog = 97.0;
constexpr double kWarmedInFog = 6.0;  // K
constexpr Duration kWarmedWithin = hours(12);
constexpr Duration kFogForLong = hours(72);

// Fewer than half the difference between neighbours in time remains between every other reading.
constexpr double kTurnsShare = 0.35;

// A sensor may miss two messages before it is silent, as its value holds three intervals.
constexpr int kSilentIntervals = 3;
constexpr std::size_t kLearnedFrom = 8;
constexpr double kBatteryLow = 15.0;
constexpr Duration kClockAhead = minutes(1);
constexpr Duration kClockBehind = minutes(10);

double in_minutes(Duration duration) { return static_cast<double>(duration.count()) / 60000.0; }

std::string shown_value(Quantity quantity, double value) {
  return fmt::format("{} {}", shown_number(value, 1), facts(quantity).symbol);
}

std::string shown_span(Duration duration) {
  const double m = in_minutes(duration);
  if (m < 120.0) return fmt::format("{:.0f} min", m);
  if (m < 48.0 * 60.0) return fmt::format("{:.0f} h", m / 60.0);
  return fmt::format("{:.0f} d", m / 1440.0);
}

void doubt(Judgement& judgement, int why, std::string reason) {
  judgement.doubts = static_cast<std::uint16_t>(judgement.doubts | why);
  judgement.reasons.push_back(std::move(reason));
}

// What a value would be if it had been sent in another unit than the configured one.
struct Conversion {
  Quantity quantity;
  double gain, offset;
  std::string_view found, expected;
};
constexpr std::array kConversions = {
    Conversion{Quantity::temperature, 1.0 / 1.8, -32.0 / 1.8, "°F", "°C"},
    Conversion{Quantity::temperature, 1.8, 32.0, "°C", "°F"},
    Conversion{Quantity::humidity, 100.0, 0.0, "a share of 1", "%"},
};

}  // namespace

ValueTrust::ValueTrust(Quantity quantity, Surroundings surroundings)
    : quantity_(quantity), surroundings_(surroundings) {}

Judgement ValueTrust::judge(const Reading& reading, std::optional<double> temperature) {
  Judgement judgement;
  const Sample sample{reading.value(), reading.measured_at};
  if (!physically_possible(quantity_, sample.value)) {
    const QuantityFacts& range = facts(quantity_);
    doubt(judgement, kImpossible,
          fmt::format("{} cannot be (expected {:.0f} to {:.0f}): check the sensor, its wiring and "
                      "its unit",
                      shown_value(quantity_, sample.value), range.lowest, range.highest));
    return judgement;
  }
  if (newest_ && sample.at <= newest_->at) return judgement;
  if (!first_) first_ = sample.at;
  judge_turns(sample, judgement);
  judge_change(sample, judgement);
  const bool humidity = quantity_ == Quantity::humidity;
  const bool fog = humidity && surroundings_ == Surroundings::weather && sample.value >= kFog;
  if (fog) {
    judge_fog(sample, temperature, judgement);
    calm_.reset();
  } else {
    foggy_.reset();
    judge_calm(sample, judgement);
  }
  if (humidity && surroundings_ != Surroundings::weather) judge_saturation(sample, judgement);
  newest_ = sample;
  return judgement;
}

bool ValueTrust::air_can(const Sample& from, const Sample& to) const {
  const ChangeLimits& limits = limits_of(quantity_);
  const double allowed = limits.step + limits.per_minute * in_minutes(to.at - from.at);
  return std::abs(to.value - from.value) <= allowed;
}

void ValueTrust::judge_change(const Sample& sample, Judgement& judgement) {
  if (!level_ || air_can(*level_, sample)) {
    level_ = sample;
    elsewhere_count_ = 0;
    elsewhere_.reset();
    return;
  }
  judge_unit(sample, judgement);
  if ((judgement.doubts & kWrongUnit) != 0) return;
  if (!elsewhere_ || !air_can(*elsewhere_, sample)) {
    elsewhere_from_ = sample;
    elsewhere_count_ = 0;
  }
  elsewhere_ = sample;
  ++elsewhere_count_;
  if (elsewhere_count_ >= kReadingsOfNewLevel &&
      sample.at - elsewhere_from_->at >= kStandingOfNewLevel) {
    level_ = sample;
    elsewhere_.reset();
    elsewhere_count_ = 0;
    return;
  }
  const double leaps = limits_of(quantity_).leap +
                       (limits_of(quantity_).per_minute * in_minutes(sample.at - level_->at));
  const bool leap = std::abs(sample.value - level_->value) > leaps;
  doubt(judgement, leap ? kJump | kLeap : kJump,
        fmt::format("from {} to {} in {}: air does not change so fast{}",
                    shown_value(quantity_, level_->value), shown_value(quantity_, sample.value),
                    shown_span(sample.at - level_->at),
                    leap ? fmt::format("; believed again when it returns or stays for {}",
                                       shown_span(kStandingOfNewLevel))
                         : std::string()));
}

void ValueTrust::judge_unit(const Sample& sample, Judgement& judgement) {
  for (const Conversion& conversion : kConversions) {
    if (conversion.quantity != quantity_) continue;
    const Sample converted{sample.value * conversion.gain + conversion.offset, sample.at};
    if (std::abs(converted.value - level_->value) > limits_of(quantity_).reading) continue;
    doubt(
        judgement, kWrongUnit,
        fmt::format("{} after {}: it looks like {} where {} is configured; correct `unit` of this "
                    "sensor",
                    shown_value(quantity_, sample.value), shown_value(quantity_, level_->value),
                    conversion.found, conversion.expected));
    level_ = converted;  // the air goes on changing meanwhile
    return;
  }
}

Duration ValueTrust::calm_allowed() const {
  if (surroundings_ == Surroundings::enclosed) return kCalmEnclosed;
  if (!newest_ || newest_->at - *first_ < kLearning) return kCalmUnlearned;
  const auto usual = std::clamp<Duration>(longest_calm_ * kCalmTimes, kCalmLeast, kCalmMost);
  return std::max<Duration>(usual, longest_calm_ * 3 / 2);  // as calm as it was once, and a little
}

void ValueTrust::judge_calm(const Sample& sample, Judgement& judgement) {
  if (newest_) {
    const double change = std::abs(sample.value - newest_->value);
    // Below a thousandth it is a rounding of sums, not a step of the sensor.
    if (change > 1e-3 && (step_ == 0.0 || change < step_)) step_ = change;
  }
  if (!calm_) calm_ = Calm{sample.value, sample.value, sample.at, false};
  const double lowest = std::min(calm_->lowest, sample.value);
  const double highest = std::max(calm_->highest, sample.value);
  // Half a step: within it the sensor has shown one value only.
  if (highest - lowest > 0.5 * step_) {
    const bool crept = std::abs(sample.value - newest_->value) <= kCreep * step_;
    if (crept || !calm_->doubted) {
      longest_calm_ = std::max(longest_calm_, newest_->at - calm_->since);
    }
    calm_ = Calm{sample.value, sample.value, sample.at, false};
    return;
  }
  calm_->lowest = lowest;
  calm_->highest = highest;
  const Duration stands = sample.at - calm_->since;
  // Until it has moved by a step of its own nobody knows how fine a change it would show.
  const bool resolution_known = step_ > 0.0 && step_ <= limits_of(quantity_).resolution;
  if (!resolution_known || stands <= calm_allowed()) return;
  calm_->doubted = true;
  const std::string usual =
      longest_calm_ > Duration{}
          ? fmt::format("this air was never calm for more than {}", shown_span(longest_calm_))
          : "air is hardly ever so calm";
  doubt(
      judgement, kStuck,
      fmt::format("{} has stood still for {}; {}: breathe on the sensor, and restart or replace it "
                  "if nothing moves",
                  shown_value(quantity_, sample.value), shown_span(stands), usual));
}

void ValueTrust::judge_saturation(const Sample& sample, Judgement& judgement) {
  if (sample.value >= kAtStop) {
    if (!wet_since_) wet_since_ = sample.at;
    dry_since_.reset();
  } else if (sample.value < kOffStop) {
    if (!dry_since_) dry_since_ = sample.at;
    if (sample.at - *dry_since_ >= kDryAgain || !saturated_) {
      saturated_ = false;
      wet_since_.reset();
    }
  }
  if (wet_since_ && sample.value >= kAtStop && sample.at - *wet_since_ >= kWetForLong) {
    saturated_ = true;
  }
  if (!saturated_) return;
  doubt(judgement, kSaturated,
        fmt::format("at its stop of 100 % for {}: a wetted element reads so until it is dry; hang "
                    "it dry and out of drips, and look for dew on the jars",
                    shown_span(sample.at - *wet_since_)));
}

void ValueTrust::judge_fog(const Sample& sample, std::optional<double> temperature,
                           Judgement& judgement) {
  if (!foggy_) {
    foggy_ = sample.at;
    coldest_.reset();
  }
  if (temperature) {
    const bool old = coldest_ && sample.at - coldest_->at > kWarmedWithin;
    if (!coldest_ || old || *temperature < coldest_->value) coldest_ = {*temperature, sample.at};
  }
  const double warmed = temperature ? *temperature - coldest_->value : 0.0;
  const bool for_long = sample.at - *foggy_ > kFogForLong;
  if (warmed < kWarmedInFog && !for_long) return;
  doubt(judgement, kSaturated,
        fmt::format("at {} for {}{}: it is wet or stuck; dry it, see that it hangs out of rain and "
                    "drips, and replace it if it stays so",
                    shown_value(quantity_, sample.value), shown_span(sample.at - *foggy_),
                    warmed >= kWarmedInFog
                        ? fmt::format(", though it has warmed by {:.0f} K, which dries air", warmed)
                        : std::string()));
}

void ValueTrust::judge_turns(const Sample& sample, Judgement& judgement) {
  std::rotate(recent_.begin(), recent_.begin() + 1, recent_.end());
  recent_.back() = sample.value;
  recent_count_ = std::min(recent_count_ + 1, recent_.size());
  if (recent_count_ < recent_.size()) return;
  double next = 0.0, after_next = 0.0, least = INFINITY;
  for (std::size_t i = 2; i < recent_.size(); ++i) {
    const double change = std::abs(recent_[i] - recent_[i - 1]);
    least = std::min(least, change);
    next += change;
    after_next += std::abs(recent_[i] - recent_[i - 2]);
  }
  if (least < limits_of(quantity_).shown || after_next > kTurnsShare * next) return;
  doubt(judgement, kTwoDevices,
        fmt::format("{} and {} take turns: two devices seem to publish as this one; give each its "
                    "own topic or id",
                    shown_value(quantity_, recent_[recent_.size() - 2]),
                    shown_value(quantity_, recent_.back())));
}

void SensorTrust::heard(Instant measured_at, Instant received_at, bool own_clock) {
  // What arrives faster than it was measured is a backlog: its delay says nothing of the clock.
  const bool live = !last_measured_ || !last_received_ ||
                    (received_at - *last_received_) * 2 >= measured_at - *last_measured_;
  if (own_clock && live) delays_[delay_count_++ % delays_.size()] = received_at - measured_at;
  if (last_measured_ && measured_at > *last_measured_) {
    intervals_[interval_count_++ % intervals_.size()] = measured_at - *last_measured_;
  }
  if (!last_measured_ || measured_at > *last_measured_) last_measured_ = measured_at;
  last_received_ = received_at;
}

std::optional<Duration> SensorTrust::learned_interval() const {
  const std::size_t count = std::min(interval_count_, intervals_.size());
  if (count < kLearnedFrom) return std::nullopt;
  auto sorted = intervals_;
  const auto most = sorted.begin() + static_cast<std::ptrdiff_t>((count - 1) * 9 / 10);
  std::nth_element(sorted.begin(), most, sorted.begin() + static_cast<std::ptrdiff_t>(count));
  return *most;
}

std::optional<double> SensorTrust::battery_percent() const {
  return battery_ && physically_possible(Quantity::battery, *battery_) ? battery_ : std::nullopt;
}

Judgement SensorTrust::at(Instant now) const {
  Judgement judgement;
  const auto expected = interval();
  if (expected && last_measured_ && now - *last_measured_ > kSilentIntervals * *expected) {
    doubt(
        judgement, kSilent,
        fmt::format("silent for {}, where a message was expected every {}: check its battery, its "
                    "reach and the broker",
                    shown_span(now - *last_measured_), shown_span(*expected)));
  }
  if (battery_ && !physically_possible(Quantity::battery, *battery_)) {
    doubt(judgement, kBatteryAstray,
          fmt::format("its battery cannot be at {} % (expected 0 to 100): it does not know, or "
                      "`battery` in its configuration names another field or unit",
                      shown_number(*battery_, 0)));
  } else if (battery_ && *battery_ < kBatteryLow) {
    doubt(judgement, kLowBattery,
          fmt::format("battery at {:.0f} %: change it before the sensor dies", *battery_));
  }
  const std::size_t count = std::min(delay_count_, delays_.size());
  if (count < kLearnedFrom) return judgement;
  // The freshest message tells the clock; the others were also on their way.
  const Duration delay =
      *std::min_element(delays_.begin(), delays_.begin() + static_cast<std::ptrdiff_t>(count));
  if (delay < -kClockAhead || delay > kClockBehind) {
    doubt(
        judgement, kClockAstray,
        fmt::format("its time stamps are {} {} the time of arrival: set its clock, or leave `time` "
                    "out of its configuration",
                    shown_span(delay < Duration{} ? -delay : delay),
                    delay < Duration{} ? "ahead of" : "behind"));
  }
  return judgement;
}

}  // namespace torpor
