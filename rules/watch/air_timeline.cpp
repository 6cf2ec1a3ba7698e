#include "rules/watch/air_timeline.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include "rules/air/psychrometrics.h"
#include "rules/book/rule_quantity_rows.h"

namespace torpor::rules {
namespace {

constexpr double kNoValue = std::numeric_limits<double>::quiet_NaN();

// The far end of a timeline is in nobody's cache.
constexpr int kForgetsWithinReach = 16;

std::optional<HeldValue>& held(SensorAir& air, Quantity quantity) {
  return quantity == Quantity::temperature ? air.temperature : air.humidity;
}

// Unknown equals unknown.
bool same(double a, double b) { return a == b || (std::isnan(a) && std::isnan(b)); }

}  // namespace

AirTimeline::AirTimeline(std::vector<std::size_t> speakers, Duration late, Duration reach)
    : speakers_(std::move(speakers)),
      positions_(speakers_.size()),
      late_(late),
      reach_(reach),
      base_(speakers_.size()),
      head_(speakers_.size()),
      moments_{unknown_moment(kAlways)} {
  std::iota(positions_.begin(), positions_.end(), std::size_t{0});
}

AirTimeline::Moment AirTimeline::unknown_moment(Instant from) {
  return {from, kNoValue, kNoValue, kNoValue, 0.0, 0.0, kNobody, kNobody};
}

bool AirTimeline::same_values(const Moment& a, const Moment& b) {
  return a.temperature_speaker == b.temperature_speaker &&
         a.humidity_speaker == b.humidity_speaker && same(a.temperature, b.temperature) &&
         same(a.humidity, b.humidity) && same(a.humid_temperature, b.humid_temperature) &&
         a.temperature_error == b.temperature_error && a.humidity_error == b.humidity_error;
}

AirTimeline::Derived AirTimeline::derived_of(const Moment& moment) {
  Derived derived{kNoValue, kNoValue, kNoValue};
  if (std::isnan(moment.humidity)) return derived;
  const Celsius temperature(moment.humid_temperature);
  const Pascal pressure = air::vapour_pressure(temperature, Percent(moment.humidity));
  derived.absolute_humidity = air::absolute_humidity(temperature, pressure).value();
  derived.vapour_pressure = pressure.value();
  if (pressure.value() > 0.0) derived.dew_point = air::dew_point(pressure).value();
  return derived;
}

void AirTimeline::hold(std::vector<SensorAir>& air, const AirReading& reading) {
  held(air[reading.speaker], reading.quantity) =
      HeldValue{reading.value, reading.at, reading.at + reading.hold, reading.error};
}

bool AirTimeline::insert(const AirReading& reading) {
  if (newest_ && reading.at < *newest_ - late_) return false;
  const bool in_order = !newest_ || reading.at >= *newest_;
  auto place = readings_.end();
  if (newest_ && reading.at <= *newest_) {
    place = std::upper_bound(readings_.begin(), readings_.end(), reading.at,
                             [](Instant t, const AirReading& other) { return t < other.at; });
    for (auto same_time = place; same_time != readings_.begin();) {
      --same_time;
      if (same_time->at != reading.at) break;
      if (same_time->speaker == reading.speaker && same_time->quantity == reading.quantity) {
        return false;
      }
    }
  }
  const auto index = static_cast<std::size_t>(place - readings_.begin());
  readings_.insert(place, reading);
  if (in_order) {
    newest_ = reading.at;
    hold(head_, reading);
    project(head_, readings_.size(), reading.at);
    return true;
  }
  std::vector<SensorAir> air = base_;
  for (std::size_t i = 0; i <= index; ++i) hold(air, readings_[i]);
  std::vector<SensorAir> all = air;
  for (std::size_t i = index + 1; i < readings_.size(); ++i) hold(all, readings_[i]);
  head_ = std::move(all);
  project(air, index + 1, reading.at);
  return true;
}

// Rebuilds the moments from `from` on. `air` is what holds at `from`; readings from `next_reading`
// on are still to come, and go into it.
void AirTimeline::project(std::vector<SensorAir>& air, std::size_t next_reading, Instant from) {
  last_derived_.reset();
  last_air_.reset();
  while (moments_.size() > 1 && moments_.back().from >= from) moments_.pop_back();
  Instant t = from;
  while (true) {
    while (next_reading < readings_.size() && readings_[next_reading].at <= t) {
      hold(air, readings_[next_reading++]);
    }
    append_moment(air, t);
    Instant next = next_reading < readings_.size() ? readings_[next_reading].at : kNever;
    for (const SensorAir& own : air) {
      for (const auto* value : {&own.temperature, &own.humidity}) {
        if (*value && (*value)->holds_until > t) next = std::min(next, (*value)->holds_until);
      }
    }
    if (next == kNever) return;
    t = next;
  }
}

void AirTimeline::append_moment(const std::vector<SensorAir>& air, Instant from) {
  const SpokenAir spoken = spoken_air(positions_, air, from);
  Moment moment = unknown_moment(from);
  const auto position = [](const std::optional<std::size_t>& speaker) {
    return speaker ? static_cast<std::uint32_t>(*speaker) : kNobody;
  };
  moment.temperature_speaker = position(spoken.temperature_speaker);
  moment.humidity_speaker = position(spoken.humidity_speaker);
  if (spoken.temperature) moment.temperature = spoken.temperature->value();
  if (spoken.humidity) moment.humidity = spoken.humidity->value();
  if (spoken.humid_temperature) moment.humid_temperature = spoken.humid_temperature->value();
  moment.temperature_error = spoken.temperature_error;
  moment.humidity_error = spoken.humidity_error;
  if (!same_values(moments_.back(), moment)) moments_.push_back(moment);
}

void AirTimeline::forget(Instant needed) {
  if (!newest_) return;
  forgets_from_ = *newest_ + reach_ / kForgetsWithinReach;
  const Instant horizon = std::min(needed, *newest_ - reach_);
  while (!readings_.empty() && readings_.front().at < horizon) {
    hold(base_, readings_.front());
    readings_.pop_front();
  }
  // The last one that began before the horizon still stands at it.
  while (moments_.size() > 1 && moments_[1].from <= horizon) moments_.pop_front();
}

AirTimeline::Place AirTimeline::place_at(Instant t) const {
  // Nearly always one of the last few: the present.
  constexpr int kFew = 8;
  Place place = moments_.end() - 1;
  for (int steps = 0; place != moments_.begin() && place->from > t; ++steps) {
    if (steps == kFew) {
      const auto after = std::upper_bound(moments_.begin(), place, t,
                                          [](Instant at, const Moment& m) { return at < m.from; });
      return after == moments_.begin() ? after : after - 1;
    }
    --place;
  }
  return place;
}

Instant AirTimeline::end_of(const Place& moment) const {
  const Place next = moment + 1;
  return next == moments_.end() ? kNever : next->from;
}

AirTimeline::Spoken AirTimeline::value_at(RuleQuantity quantity, Instant t) {
  const Place place = place_at(t);
  const Moment& moment = *place;
  const Instant until = end_of(place);
  static_assert(count_from({Source::air}) == 5, "each of the air's quantities is one below");
  if (quantity == RuleQuantity::temperature) return {moment.temperature, until};
  if (quantity == RuleQuantity::humidity) return {moment.humidity, until};
  if (!last_derived_ || last_derived_->from != moment.from) {
    last_derived_ = {moment.from, derived_of(moment)};
  }
  const Derived& derived = last_derived_->figures;
  if (quantity == RuleQuantity::dew_point) return {derived.dew_point, until};
  if (quantity == RuleQuantity::absolute_humidity) return {derived.absolute_humidity, until};
  return {derived.vapour_pressure, until};
}

AirTimeline::Held AirTimeline::held_at(Instant t) {
  const Place place = place_at(t);
  const Moment& moment = *place;
  if (!last_air_ || last_air_->from != moment.from) {
    last_air_ = {moment.from, model_air(air_of(moment))};
  }
  return {last_air_->figures, end_of(place)};
}

SpokenAir AirTimeline::air_at(Instant t) const { return air_of(*place_at(t)); }

SpokenAir AirTimeline::air_of(const Moment& moment) const {
  SpokenAir spoken;
  spoken.temperature_error = moment.temperature_error;
  spoken.humidity_error = moment.humidity_error;
  if (moment.temperature_speaker != kNobody) {
    spoken.temperature_speaker = speakers_[moment.temperature_speaker];
    spoken.temperature = Celsius(moment.temperature);
  }
  if (moment.humidity_speaker != kNobody) {
    spoken.humidity_speaker = speakers_[moment.humidity_speaker];
    spoken.humidity = Percent(moment.humidity);
    spoken.humid_temperature = Celsius(moment.humid_temperature);
  }
  return spoken;
}

std::vector<AirReading> AirTimeline::kept() const {
  std::vector<AirReading> all;
  for (std::uint32_t speaker = 0; speaker < speakers_.size(); ++speaker) {
    for (const Quantity quantity : {Quantity::temperature, Quantity::humidity}) {
      SensorAir own = base_[speaker];
      const auto& value = held(own, quantity);
      if (!value) continue;
      all.push_back({value->measured_at, speaker, quantity, value->value, value->error,
                     value->holds_until - value->measured_at});
    }
  }
  all.insert(all.end(), readings_.begin(), readings_.end());
  std::stable_sort(all.begin(), all.end(),
                   [](const AirReading& a, const AirReading& b) { return a.at < b.at; });
  return all;
}

void AirTimeline::restore(const std::vector<AirReading>& kept, std::optional<Instant> newest) {
  readings_.assign(kept.begin(), kept.end());
  newest_ = newest;
  base_.assign(speakers_.size(), {});
  head_ = base_;
  moments_ = {unknown_moment(kAlways)};
  last_derived_.reset();
  last_air_.reset();
  for (const AirReading& reading : readings_) hold(head_, reading);
  std::vector<SensorAir> air = base_;
  if (!readings_.empty()) project(air, 0, readings_.front().at);
}

}  // namespace torpor::rules
