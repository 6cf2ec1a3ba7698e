// A made-up day and night of air by the minute for the judges' tests: swings, and a little noise
// that repeats.
#pragma once

#include <cmath>
#include <numbers>

#include "sensors/reading.h"

namespace torpor::testing {

inline constexpr Instant kSeriesStart = instant_of(1772409600000);  // 2026-03-02T00:00:00Z

inline Instant at_minute(double minute) {
  return kSeriesStart + Duration(static_cast<std::int64_t>(minute * 60000.0));
}
inline double tenths(double value) { return std::round(value * 10.0) / 10.0; }
inline double wobble(int minute) { return static_cast<double>((minute * 7919) % 11 - 5); }
inline double room_temperature(int minute) {
  const double day = 2.0 * std::numbers::pi * minute / 1440.0;
  return tenths(18.0 + 3.0 * std::sin(day) + 0.03 * wobble(minute));
}
inline double room_humidity(int minute) {
  const double day = 2.0 * std::numbers::pi * minute / 1440.0;
  return tenths(70.0 - 8.0 * std::sin(day) + 0.15 * wobble(minute));
}
inline Reading seen(Quantity quantity, double minute, double value) {
  const Unit unit = quantity == Quantity::temperature ? Unit::celsius : Unit::percent;
  return {"s1", quantity, value, unit, at_minute(minute), at_minute(minute), kUnmarked};
}

}  // namespace torpor::testing
