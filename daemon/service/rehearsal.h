// A rule book over recorded history: the same engine as live, driven by measured times. What it
// raises is what the service would have raised had this book been in force and every reading come
// in order. Nobody sees or defers, there are no quiet hours, and the link to the broker is not
// known.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/error.h"
#include "daemon/history/store.h"
#include "daemon/ledger/ledger.h"
#include "rules/watch/watch.h"

namespace torpor::daemon {

// One raising; an alert that reopened is another one.
struct RehearsedAlert {
  std::string rule;
  rules::Subject subject;
  Instant raised;
  std::optional<Instant> eased;  // nullopt: still standing at the end
  rules::Urgency urgency = rules::Urgency::this_week;
  std::vector<std::string> jars;
  std::string what;
  friend bool operator==(const RehearsedAlert&, const RehearsedAlert&) = default;
};

struct Rehearsal {
  std::vector<RehearsedAlert> alerts;  // raised within [from, to), by time
  std::uint64_t readings = 0;          // stepped, from the beginning of the history on
};

struct RehearsalRange {
  Instant from, to;
};

// `settings` as for the live engine; its clock and quiet hours are not used, and of its layout the
// places are: sensors hang where they hung. The engine is stepped from the first reading on, so
// that what holds at `from` holds. `progress` is called now and then with the time reached.
[[nodiscard]] Rehearsal rehearse(rules::WatchSettings settings, const Reader& history,
                                 const Ledger& ledger, const RehearsalRange& range,
                                 const std::function<void(Instant)>& progress);

// Measured-at of the oldest reading there is.
[[nodiscard]] std::optional<Instant> first_reading(const Reader& history);

// The alerts that the service did raise within the range, in the same form, by time. Error: kind
// corrupt, an alert that cannot be read.
[[nodiscard]] tl::expected<std::vector<RehearsedAlert>, Error> raised_alerts(
    const Reader& history, const RehearsalRange& range);

}  // namespace torpor::daemon
