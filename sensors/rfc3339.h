// RFC 3339 times to and from Instants, and the one way a UTC time is written in JSON.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "sensors/reading.h"

namespace torpor {

// "2026-03-02T18:30:00Z", "...+01:00", fractions to any length (kept to ms, truncated), lower-case
// t and z and a space for T as the RFC allows. nullopt: not a valid date and time with offset.
// A leap second (:60) is read as the following second.
[[nodiscard]] std::optional<Instant> parse_rfc3339(std::string_view text);

// "2026-03-02T18:30:00Z", with ".123" only when the milliseconds are not zero.
[[nodiscard]] std::string to_rfc3339(Instant instant);

}  // namespace torpor
