// One measured value with its times, as it is kept: the decoded raw value bit for bit in the unit
// it was sent in. Calibration is applied when it is read, never here; whether it was believed is a
// mark beside it.
#pragma once

#include <chrono>
#include <cstdint>
#include <string>

#include "sensors/quantity.h"

namespace torpor {

// UTC, to the millisecond.
using Duration = std::chrono::milliseconds;
using Instant = std::chrono::sys_time<Duration>;

[[nodiscard]] constexpr Instant instant_of(std::int64_t unix_ms) {
  return Instant(Duration(unix_ms));
}
[[nodiscard]] constexpr std::int64_t unix_ms(Instant instant) {
  return instant.time_since_epoch().count();
}

// Marks made at intake, and by the judges of trust. Stored: do not renumber; combined with |.
enum ReadingMark : std::uint8_t {
  kUnmarked = 0,
  kOutOfRange = 1,        // physically impossible: kept, never trusted
  kStampedOnArrival = 2,  // the payload had no time of its own
  kImported = 4,          // came from a file, not from the broker
  kDoubted = 8,  // not believed when it came, for a reason of sensors/trust.h: kept as it is
};

struct Reading {
  std::string sensor;  // id as configured
  Quantity quantity = Quantity::temperature;
  double raw = 0.0;  // finite, in `unit`
  Unit unit = Unit::celsius;
  Instant measured_at;
  Instant received_at;
  std::uint8_t marks = kUnmarked;

  // In the quantity's canonical unit.
  [[nodiscard]] double value() const { return to_canonical(raw, unit); }
  [[nodiscard]] bool trusted() const { return (marks & (kOutOfRange | kDoubted)) == 0; }
  friend bool operator==(const Reading&, const Reading&) = default;
};

}  // namespace torpor
