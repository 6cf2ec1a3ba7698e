// Lengths of time that are known exactly, in words. Estimates have words of their own
// (rules/culture/words.h).
#pragma once

#include <string>

#include "sensors/reading.h"

namespace torpor::daemon {

// "40 minutes", "5 hours", "5 days": the largest unit that fits twice, rounded down. Negative
// durations count as zero.
[[nodiscard]] std::string in_words(Duration duration);

}  // namespace torpor::daemon
