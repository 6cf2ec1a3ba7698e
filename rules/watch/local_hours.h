// Local time of day without a time zone database: the daemon supplies the offset. Quiet hours and
// the times in notices.
#pragma once

#include <optional>
#include <string>

#include "rules/watch/watch.h"

namespace torpor::rules {

using UtcOffset = std::function<std::chrono::minutes(Instant)>;

// `t`, or the end of the quiet hours it lies in. `from` is quiet, `to` is not.
[[nodiscard]] Instant after_quiet(Instant t, const std::optional<QuietHours>& quiet,
                                  const UtcOffset& offset);

// "14:10", or "24 Nov 14:10" when `t` is not on the local day of `now`.
[[nodiscard]] std::string clock_text(Instant t, Instant now, const UtcOffset& offset);

// A length of time in round words: "40 s", "25 min", "3 h", "5 d".
[[nodiscard]] std::string round_duration(Duration duration);

}  // namespace torpor::rules
