// Shorthand for decoder tests: one arrival time, one sensor, a result as one line of text.
#pragma once

#include <string>
#include <string_view>

#include "sensors/payload.h"

namespace torpor::test {

// 2026-03-02T18:30:00Z
inline constexpr Instant kArrival = instant_of(1772476200000);

// What decode() made of a payload that arrived at kArrival. Readings: "temperature 21.5 °C
// 2026-03-02T18:30:00Z arrival; ...", with "impossible" after a value out of range. Refused:
// "malformed: ...", the reason and the message.
[[nodiscard]] std::string decoded(const PayloadFormat& format, std::string_view payload,
                                  Instant received_at = kArrival);

}  // namespace torpor::test
