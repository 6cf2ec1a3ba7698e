// Amounts with their unit as a person writes them in settings: "60 s", "90s", "2 h", "18 m3". The
// rule language has a reader of its own: it must place faults inside a sentence.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include <tl/expected.hpp>

#include "sensors/reading.h"

namespace torpor::config {

// More than a year between two readings is a slip, not a sensor.
inline constexpr Duration kLongestDuration = std::chrono::hours(24 * 366);

// s, min, h, d; more than zero, at most kLongestDuration, rounded to ms. The error says what was
// found and what to write.
[[nodiscard]] tl::expected<Duration, std::string> parse_duration(std::string_view text);
// "5 y": how long something is kept, kFewestYears to kMostYears of 365.25 days.
inline constexpr double kFewestYears = 1;  // less is not a storeroom's past but its last winter
inline constexpr double kMostYears = 100;  // who means "for ever" leaves it away
[[nodiscard]] tl::expected<Duration, std::string> parse_years(std::string_view text);
// m3, m³, l; m3. More than zero, at most a million.
[[nodiscard]] tl::expected<double, std::string> parse_volume_m3(std::string_view text);
// V, mV; V. More than zero, at most 1000: of a battery.
[[nodiscard]] tl::expected<double, std::string> parse_volts(std::string_view text);
// "22:00" -> minutes after midnight.
[[nodiscard]] std::optional<int> parse_time_of_day(std::string_view text);

}  // namespace torpor::config
