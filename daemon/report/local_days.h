// Local dates in words that nobody reads the wrong way round, and the marks of a time axis.
#pragma once

#include <string>
#include <vector>

#include "daemon/ledger/local_time.h"

namespace torpor::daemon {

// "2 Mar 2026", "2 Mar 2026 18:30", local.
[[nodiscard]] std::string day_words(Instant instant, const LocalTime& zone);
[[nodiscard]] std::string moment_words(Instant instant, const LocalTime& zone);

struct AxisMark {
  Instant at;
  std::string label;  // empty: a mark without words
  friend bool operator==(const AxisMark&, const AxisMark&) = default;
};
// Marks at round local times in [from, to], in order: hours, days, Mondays, months or years, as the
// span asks. At most six are labelled, so that the labels stand clear of each other on a phone; the
// first label and the first of each year say the year. Precondition: from <= to.
[[nodiscard]] std::vector<AxisMark> axis_marks(Instant from, Instant to, const LocalTime& zone);

}  // namespace torpor::daemon
