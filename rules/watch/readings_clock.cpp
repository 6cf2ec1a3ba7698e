#include "rules/watch/readings_clock.h"

#include <algorithm>

namespace torpor::rules {

Instant ReadingsClock::heard(std::size_t index, Instant stamp, std::optional<Instant> now) {
  Sensor& sensor = sensors_[index];
  sensor.heard = true;
  const Instant time = stamp - sensor.ahead;
  if (!now || time > *now) {
    carrier_ = index;
    sensor.behind = 0;
    return time;
  }
  const Duration gap = *now - time;
  if (gap <= kLeast || gap > kMost) {
    sensor.behind = 0;
    return *now;
  }
  sensor.by = sensor.behind == 0 ? gap : std::min(sensor.by, gap);
  if (index != carrier_) {
    ++sensor.behind;
    correct(index);
  }
  return *now;
}

// Either the one that carries time is ahead of the rest, or the one that comes behind is alone.
void ReadingsClock::correct(std::size_t witness) {
  // Thought to be ahead, and is not, or no longer.
  if (Sensor& own = sensors_[witness]; own.ahead > Duration{}) {
    if (own.behind < kConvinced) return;
    own.ahead -= std::min(own.ahead, own.by);
    own.behind = 0;
    return;
  }
  std::size_t behind = 0, level = 0;
  int messages = 0;
  Duration by = kMost;
  for (std::size_t i = 0; i < sensors_.size(); ++i) {
    const Sensor& each = sensors_[i];
    if (i == carrier_ || !each.heard) continue;
    if (each.behind == 0) {
      ++level;
      continue;
    }
    ++behind;
    messages += each.behind;
    by = std::min(by, each.by);
  }
  if (messages < kConvinced || behind <= level) return;
  Sensor& carrier = sensors_[carrier_];
  carrier.ahead = std::min(kMost, carrier.ahead + by);
  for (Sensor& each : sensors_) each.behind = 0;
}

}  // namespace torpor::rules
