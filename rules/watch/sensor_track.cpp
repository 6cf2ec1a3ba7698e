#include "rules/watch/sensor_track.h"

#include <algorithm>

namespace torpor::rules {
namespace {

// See AirTimeline: old entries are dropped in lots.
constexpr std::size_t kSpokenForgottenAtOnce = 64;

// The first one after `t`: mostly there is none, or it is the last.
auto first_after(const std::vector<SensorTrack::Spoken>& spoken, Instant t) {
  if (spoken.empty() || spoken.back().at <= t) return spoken.end();
  return std::upper_bound(spoken.begin(), spoken.end(), t,
                          [](Instant at, const SensorTrack::Spoken& each) { return at < each.at; });
}

}  // namespace

bool SensorTrack::has(const Reading& reading) const {
  if (facts(reading.quantity).of_sensor) {
    const auto& newest = newest_[slot(reading.quantity)];
    return newest && reading.measured_at <= newest->measured_at;
  }
  const Spoken entry{reading.measured_at, reading.quantity};
  if (spoken_.empty() || spoken_.back() < entry) return false;
  return std::binary_search(spoken_.begin(), spoken_.end(), entry);
}

void SensorTrack::insert(const Reading& reading, bool believed, Duration reach) {
  const Spoken entry{reading.measured_at, reading.quantity};
  auto& newest = newest_[slot(reading.quantity)];
  if (!newest || newest->measured_at < reading.measured_at) newest = reading;
  auto& trusted = newest_trusted_[slot(reading.quantity)];
  if (believed && (!trusted || trusted->measured_at < reading.measured_at)) {
    trusted = reading;
  }
  if (facts(reading.quantity).of_sensor) return;
  if (!spoken_.empty() && entry.at < spoken_.back().at - reach) return;
  const bool is_last = spoken_.empty() || spoken_.back() < entry;
  spoken_.insert(is_last ? spoken_.end() : std::lower_bound(spoken_.begin(), spoken_.end(), entry),
                 entry);
  const Instant horizon = spoken_.back().at - reach;
  if (spoken_.size() > kSpokenForgottenAtOnce + 1 &&
      spoken_[kSpokenForgottenAtOnce + 1].at < horizon) {
    const auto kept = std::find_if(spoken_.begin(), spoken_.end(),
                                   [&](const Spoken& each) { return each.at >= horizon; });
    // The last one before the horizon says since when it was silent there.
    spoken_.erase(spoken_.begin(), kept - 1);
  }
}

const std::optional<Reading>& SensorTrack::newest(Quantity quantity) const {
  return newest_[slot(quantity)];
}

const std::optional<Reading>& SensorTrack::newest_trusted(Quantity quantity) const {
  return newest_trusted_[slot(quantity)];
}

std::optional<Instant> SensorTrack::silent_since(Instant t) const {
  if (!first_known || t < *first_known) return std::nullopt;
  const auto after = first_after(spoken_, t);
  if (after == spoken_.begin()) return first_known;
  return std::max(*first_known, (after - 1)->at);
}

std::optional<Instant> SensorTrack::next_reading(Instant t) const {
  const auto after = first_after(spoken_, t);
  return after == spoken_.end() ? std::nullopt : std::optional(after->at);
}

std::optional<Instant> SensorTrack::next_expiry(Duration hold, Instant t) const {
  std::optional<Instant> next;
  for (const auto& reading : newest_trusted_) {
    if (!reading || facts(reading->quantity).of_sensor) continue;
    if (reading->measured_at + hold <= t) continue;
    const Instant end = reading->measured_at + hold;
    next = next ? std::min(*next, end) : end;
  }
  return next;
}

void SensorTrack::restore(std::vector<Spoken> spoken, const std::vector<Reading>& newest,
                          const std::vector<Reading>& newest_trusted) {
  spoken_ = std::move(spoken);
  for (const Reading& reading : newest) newest_[slot(reading.quantity)] = reading;
  for (const Reading& reading : newest_trusted) newest_trusted_[slot(reading.quantity)] = reading;
}

}  // namespace torpor::rules
