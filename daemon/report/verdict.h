// A jar's state and the reasons for it, from what the history alone can tell. The one place that
// decides it: the jar's own model takes this function's place when there is one. Until then no jar
// is ever called dormant, waking or awake, for nothing here could tell.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "sensors/reading.h"

namespace torpor::daemon {

enum class JarState { settling, dormant, waking, due, awake, doubtful, unwatched, retired };
[[nodiscard]] std::string_view state_name(JarState state);  // "settling", as in JSON and tables

// Bubbling, sinking and a wet look are normal for so long after closing (common practice).
inline constexpr Duration kSettling = std::chrono::hours(24 * 14);
// How far back the cover by sensors is looked at; from the closing on where that is later.
inline constexpr Duration kWatched = std::chrono::hours(24 * 7);
// Share of that time that needs a trusted temperature and humidity. The same 75 % below which the
// windows of the rule language are unknown.
inline constexpr double kCoverageNeeded = 75.0;

struct JarEvidence {
  Instant now;
  Instant closed;
  std::optional<Instant> retired_at;
  Duration watched{};                          // length of the time looked at, at most kWatched
  double coverage_percent = 0.0;               // of that time
  std::optional<Celsius> highest_temperature;  // of the air, in that time
};

struct JarVerdict {
  std::optional<JarState> state;     // nullopt: not judged
  std::vector<std::string> reasons;  // plain sentences; never empty
  friend bool operator==(const JarVerdict&, const JarVerdict&) = default;
};

[[nodiscard]] JarVerdict judge(const JarEvidence& evidence);

// "40 minutes", "5 hours", "5 days": the largest unit that fits twice, rounded down. Negative
// durations count as zero.
[[nodiscard]] std::string in_words(Duration duration);

}  // namespace torpor::daemon
