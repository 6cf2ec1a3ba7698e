// How an alert stands, in words for every form of it.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "daemon/ledger/local_time.h"
#include "daemon/report/views.h"
#include "rules/watch/watch.h"

namespace torpor::daemon {

// "standing", "eased", "ended".
[[nodiscard]] std::string_view alert_state_words(rules::AlertState state);
// "since 2026-03-02 18:30, ended 2026-03-03 06:00", local.
[[nodiscard]] std::string alert_when_words(const rules::Alert& alert, const LocalTime& zone);
// "unseen", "seen by mara", "deferred".
[[nodiscard]] std::string alert_seen_words(const rules::Alert& alert);

// Those that fit: what stands first, the most urgent of it first, then the newest of the rest.
[[nodiscard]] std::vector<const AlertView*> alerts_to_show(const std::vector<AlertView>& alerts,
                                                           std::size_t most);

}  // namespace torpor::daemon
