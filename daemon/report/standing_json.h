// How the sensors stand with their judges, as the note that the service keeps for reading commands.
#pragma once

#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "rules/watch/sensor_standing.h"

namespace torpor::daemon {

// Name of the note in the history. Stored: do not rename.
inline constexpr std::string_view kStandingsNote = "standings";

// The words for doubts, one each, in the order of their numbers: "stuck", "two-devices".
[[nodiscard]] std::vector<std::string> doubt_words(std::uint16_t doubts);

// Sensors whose stamps are ahead of the others', under `clock: readings`, and by how much.
using Ahead = std::map<std::string, Duration>;
inline constexpr std::string_view kAheadNote = "ahead";  // stored: do not rename
[[nodiscard]] std::string ahead_json(const Ahead& ahead);
[[nodiscard]] Ahead ahead_from_json(std::string_view text);  // empty: not such a note

using Standings = std::map<std::string, rules::SensorStanding>;  // by sensor
[[nodiscard]] std::string standings_json(const Standings& standings);
// Empty when the text is not such a note: readers then know of no doubt.
[[nodiscard]] Standings standings_from_json(std::string_view text);

}  // namespace torpor::daemon
