#include "sensors/guided_check.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "sensors/shown_number.h"

namespace torpor {
namespace {

using std::chrono::hours;
using std::chrono::minutes;

// How long each check takes and what counts as standing still. A spoonful of wet salt in a closed
// bag settles in 6 to 24 h; a probe in stirred ice in a quarter of an hour (common practice, no
// source).
struct Procedure {
  Duration least, window, most;
  double slope;   // per hour, at most
  double spread;  // of the values in the window, at most
  double settle;  // h: what is still to come is the slope times this
  double faulty;  // further off than this it is a mistake or a broken sensor
};
constexpr Procedure kInSalt{hours(6), hours(2), hours(48), 0.15, 1.5, 4.0, 15.0};
constexpr Procedure kInIce{minutes(10), minutes(5), hours(2), 1.2, 0.4, 0.1, 3.0};
// In the air nothing comes to rest: what counts is that it hardly moved while it was compared.
constexpr Procedure kWarmthBeside{minutes(5), hours(2), hours(2), 0.0, 0.6, 0.0, 5.0};
constexpr Procedure kDampBeside{minutes(5), hours(2), hours(2), 0.0, 4.0, 0.0, 15.0};
const Procedure& procedure_of(const CheckMeans& means) {
  if (const Instrument* beside = instrument_of(means)) {
    return beside->quantity == Quantity::humidity ? kDampBeside : kWarmthBeside;
  }
  return salt_of(means) != nullptr ? kInSalt : kInIce;
}

// Warmth moves the humidity over a salt before the salt can follow.
constexpr double kTemperatureSpread = 1.0;  // K
// Ice made of tap water and air bubbles: 0 degC within this (common practice, no source).
constexpr double kIceUncertainty = 0.1;  // K
constexpr std::size_t kLeastReadings = 4;
// In moving air an early end is worth more than a fourth reading.
constexpr std::size_t kLeastBeside = 3;

// Out again: this far from where it rested, for so long that it has taken on the air (a small
// sensor's time constant is some minutes; common practice, no source). A room as damp as the salt
// looks like the salt: then a day is long enough.
constexpr double kAwayFromSalt = 2.5, kAwayFromIce = 3.0;
constexpr Duration kInAirAgain = minutes(30);
constexpr Duration kOutAtLast = hours(24);

double hours_of(Duration duration) { return static_cast<double>(duration.count()) / 3600000.0; }

template <class Samples>
double mean_of(const Samples& samples) {
  double sum = 0.0;
  for (const auto& sample : samples) sum += sample.value;
  return sum / static_cast<double>(samples.size());
}

template <class Samples>
double spread_of(const Samples& samples) {
  const auto [low, high] =
      std::minmax_element(samples.begin(), samples.end(),
                          [](const auto& a, const auto& b) { return a.value < b.value; });
  return high->value - low->value;
}

// Least squares, per hour.
template <class Samples>
double slope_of(const Samples& samples) {
  const double mean = mean_of(samples);
  double mean_time = 0.0;
  for (const auto& sample : samples) mean_time += hours_of(sample.at - samples.front().at);
  mean_time /= static_cast<double>(samples.size());
  double both = 0.0, square = 0.0;
  for (const auto& sample : samples) {
    const double t = hours_of(sample.at - samples.front().at) - mean_time;
    both += t * (sample.value - mean);
    square += t * t;
  }
  return square > 0.0 ? both / square : 0.0;
}

}  // namespace

Quantity GuidedCheck::quantity() const {
  if (const Instrument* beside = instrument_of(means_)) return beside->quantity;
  return salt_of(means_) != nullptr ? Quantity::humidity : Quantity::temperature;
}

void GuidedCheck::add(Quantity quantity, Instant at, double value) {
  if (at < start_ || out_) return;
  if (state_ != State::waiting) {
    if (quantity == this->quantity()) look_whether_out(at, value);
    return;
  }
  const Duration window = procedure_of(means_).window;
  std::deque<Sample>& samples = quantity == this->quantity() ? values_ : temperatures_;
  samples.push_back({at, value});
  for (std::deque<Sample>* each : {&values_, &temperatures_}) {
    while (!each->empty() && each->front().at < at - window) {
      each->pop_front();
      window_full_ = true;
    }
  }
  if (quantity == this->quantity()) look(at);
}

std::optional<double> GuidedCheck::temperature() const {
  if (temperatures_.empty()) return std::nullopt;
  return mean_of(temperatures_);
}

bool GuidedCheck::take_end() {
  if (state_ == State::waiting || end_told_) return false;
  end_told_ = true;
  return true;
}

void GuidedCheck::look_whether_out(Instant now, double value) {
  const double away = salt_of(means_) != nullptr ? kAwayFromSalt : kAwayFromIce;
  if (std::abs(value - ended_.value) <= away) {
    away_since_.reset();
  } else if (!away_since_) {
    away_since_ = now;
  }
  out_ = (away_since_ && now - *away_since_ >= kInAirAgain) || now - ended_.at >= kOutAtLast;
}

void GuidedCheck::look(Instant now) {
  if (instrument_of(means_) != nullptr) {
    look_at_comparison(now);
  } else {
    look_at_bath(now);
  }
}

void GuidedCheck::look_at_comparison(Instant now) {
  const Instrument& beside = *instrument_of(means_);
  const Procedure& procedure = procedure_of(means_);
  const bool too_long = now - start_ > procedure.most;
  out_ = too_long;
  if (values_.size() < kLeastBeside) {
    if (too_long) fail("it sent too few readings; tell the other instrument's value anew");
    return;
  }
  if (now - start_ < procedure.least) return;
  out_ = true;
  if (spread_of(values_) > procedure.spread) {
    return fail(
        fmt::format("the air moved by {:.1f} {} meanwhile; compare in still air, and begin again",
                    spread_of(values_), beside.quantity == Quantity::humidity ? "%" : "K"));
  }
  const double noise = spread_of(values_) / std::sqrt(12.0);
  finish(now, mean_of(values_), beside.value, std::hypot(beside.uncertainty, noise));
}

void GuidedCheck::look_at_bath(Instant now) {
  const Salt* salt = salt_of(means_);
  const Procedure& procedure = procedure_of(means_);
  if (values_.size() < kLeastReadings) {
    if (now - start_ > procedure.most) {
      fail("it sent too few readings");
      out_ = true;
    }
    return;
  }
  slope_ = slope_of(values_);
  const bool still = window_full_ && now - start_ >= procedure.least &&
                     std::abs(slope_) <= procedure.slope && spread_of(values_) <= procedure.spread;
  const bool warmth_still =
      salt == nullptr || temperatures_.empty() || spread_of(temperatures_) <= kTemperatureSpread;
  if (!still || !warmth_still) {
    if (now - start_ > procedure.most) {
      fail(
          fmt::format("it did not come to rest in {:.0f} h: close the vessel tightly, keep it away "
                      "from sun and draught, and begin again",
                      hours_of(procedure.most)));
      out_ = true;
    }
    return;
  }
  const double mean = mean_of(values_);
  ended_ = {now, mean};
  const double remaining = std::abs(slope_) * procedure.settle;
  const double noise = spread_of(values_) / std::sqrt(12.0);
  if (salt == nullptr) return finish(now, mean, 0.0, std::hypot(kIceUncertainty, noise, remaining));
  if (!temperature()) return fail("it sends no temperature, and what a salt gives depends on it");
  const auto expected = humidity_over(*salt, Celsius(*temperature()));
  if (!expected) {
    return fail(fmt::format("{} °C is outside {:.0f} to {:.0f} °C, where {} is known",
                            shown_number(*temperature(), 1), facts(*salt).coldest,
                            facts(*salt).hottest, facts(*salt).name));
  }
  finish(now, mean, expected->value(), std::hypot(facts(*salt).uncertainty, noise, remaining));
}

void GuidedCheck::finish(Instant now, double mean, double expected, double uncertainty) {
  if (std::abs(mean - expected) > procedure_of(means_).faulty) {
    return fail(fmt::format(
        "it shows {} where {:.1f} was expected, too far for ageing: {}", shown_number(mean, 1),
        expected,
        instrument_of(means_) != nullptr
            ? "see that both are in the same air and that its unit is right, or replace the sensor"
        : salt_of(means_) != nullptr ? "see that the salt is wet but not flooded and is the right "
                                       "one, or replace the sensor"
                                     : "see that it lies in ice and water and its unit is right, "
                                       "or replace the sensor"));
  }
  result_ = Check{now, quantity(), expected, mean, uncertainty};
  state_ = State::done;
}

void GuidedCheck::fail(std::string why) {
  why_failed_ = std::move(why);
  state_ = State::failed;
}

std::string GuidedCheck::words() const {
  const Salt* salt = salt_of(means_);
  const Instrument* beside = instrument_of(means_);
  const std::string_view unit = facts(quantity()).symbol;
  const std::string where = beside != nullptr
                                ? fmt::format("against {:.1f} {}", beside->value, unit)
                                : fmt::format("in {}", salt ? facts(*salt).name : "melting ice");
  if (state_ == State::failed) {
    return fmt::format("The check {} gave no result: {}.", where, why_failed_);
  }
  if (state_ == State::done) {
    const double off = result_->shown - result_->expected;
    return fmt::format(
        "Done {}: it shows {:.1f} {}, {:.1f} {} is right, so it reads {:.1f} {} too {} "
        "(+/- {:.1f}). From now on its readings are corrected.{}",
        where, result_->shown, unit, result_->expected, unit, std::abs(off),
        quantity() == Quantity::humidity ? "%" : "K", off < 0.0 ? "low" : "high",
        2.0 * result_->uncertainty,
        beside != nullptr ? std::string()
                          : fmt::format(" Take it out{}; half an hour later it speaks for its air "
                                        "again.",
                                        salt ? "" : " and dry it"));
  }
  const Procedure& procedure = procedure_of(means_);
  if (values_.empty()) {
    return fmt::format("Waiting for its first reading {}.", where);
  }
  if (beside != nullptr) {
    return fmt::format("Compared {}: {} of its readings so far; it ends after {} and {:.0f} min.",
                       where, values_.size(), kLeastBeside, 60.0 * hours_of(procedure.least));
  }
  std::string expected = salt ? "" : ", 0.0 °C is expected";
  if (salt && temperature()) {
    const auto humidity = humidity_over(*salt, Celsius(*temperature()));
    if (humidity) {
      expected =
          fmt::format(", {:.1f} % is expected at {:.1f} °C", humidity->value(), *temperature());
    }
  }
  return fmt::format(
      "In {} for {:.1f} h: shows {} {}{}; moving {:+.2f} an hour, at rest below {:.2f} and not "
      "before {:.1f} h. Leave it closed.",
      salt ? facts(*salt).name : "melting ice", hours_of(values_.back().at - start_),
      shown_number(values_.back().value, 1), unit, expected, slope_, procedure.slope,
      hours_of(procedure.least));
}

std::string GuidedCheck::instructions(const CheckMeans& means, std::optional<Celsius> temperature) {
  if (instrument_of(means) != nullptr) {
    return "Keep both in the same still air, side by side, out of sun and breath, until three of "
           "its readings have come and 5 min are over.";
  }
  const Salt* salt = salt_of(means);
  if (salt == nullptr) {
    return "Fill a cup with crushed ice, add water until it stands among the ice, stir, and lay "
           "the "
           "probe in its middle; a sensor that is not watertight goes into a thin bag first. Leave "
           "it for half an hour and stir now and then. 0.0 °C is expected.";
  }
  const SaltFacts& row = facts(*salt);
  constexpr Celsius kRoom{20.0};
  const Celsius at = temperature.value_or(kRoom);
  const auto expected = humidity_over(*salt, at);
  std::string text = fmt::format(
      "Wet a spoonful of {0} until it is like damp sand, not flooded, and close it up with the "
      "sensor in a small tight jar or bag; they must not touch. Keep it at an even temperature, "
      "out "
      "of sun and draught, and leave it closed: 6 h at least, mostly 12 to 24 h. It ends by "
      "itself, "
      "after 48 h at the latest.",
      row.name);
  if (expected) {
    text += fmt::format(" {:.1f} % is expected at {:.1f} °C{} (Greenspan 1977).", expected->value(),
                        at.value(), temperature ? ", its temperature now" : "");
  } else {
    text += fmt::format(
        " What {} gives is known from {:.0f} to {:.0f} °C: take it where it is "
        "neither colder nor warmer.",
        row.name, row.coldest, row.hottest);
  }
  if (!row.caution.empty()) text += fmt::format(" Caution: {}.", row.caution);
  return text;
}

}  // namespace torpor
