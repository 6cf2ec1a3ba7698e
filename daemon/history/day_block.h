// The readings of one quantity of one sensor on one day (UTC) as one compressed block and a summary
// beside it. Lossless: times, raw values bit for bit, units and marks all come back. No I/O here;
// day_rows.h keeps blocks in SQLite, FORMAT.md describes the bytes.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "sensors/reading.h"

namespace torpor::daemon {

// Days since 1970-01-01, UTC.
[[nodiscard]] std::int64_t day_of(Instant instant);
[[nodiscard]] Instant start_of_day(std::int64_t day);

// More readings than this in a day (twelve a second) stay rows: it bounds what a damaged block can
// make its reader reserve.
inline constexpr std::size_t kMostReadingsInBlock = std::size_t{1} << 20;

// Precondition: 1 to kMostReadingsInBlock readings of one sensor and quantity, all of that day,
// rising by measured-at.
[[nodiscard]] std::string encode_day(std::int64_t day, const std::vector<Reading>& readings);

// What encode_day() was given; `sensor` and `quantity` are not in the bytes. nullopt: the bytes are
// no block of that day and quantity, in whole; a changed bit is noticed.
[[nodiscard]] std::optional<std::vector<Reading>> decode_day(std::int64_t day,
                                                             std::string_view sensor,
                                                             Quantity quantity,
                                                             std::string_view bytes);

}  // namespace torpor::daemon
