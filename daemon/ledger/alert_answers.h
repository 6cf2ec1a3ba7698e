// Answers about alerts: `seen`, `defer` and `ask alerts`.
#pragma once

#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/ledger/ledger.h"

namespace torpor::daemon {

// What `seen` and `seen alert N` lead to, given the open alerts by number. An unknown number is
// refused with the open ones listed.
[[nodiscard]] tl::expected<Told, SentenceRefusal> told_seen(const SeenAlert& seen,
                                                            const std::string& by,
                                                            const std::vector<rules::Alert>& open);

// What `defer` leads to: the same refusal of a number that is not open.
[[nodiscard]] tl::expected<Told, SentenceRefusal> told_deferred(
    const DeferAlert& defer, const std::string& by, const std::vector<rules::Alert>& open,
    Instant now, const LocalTime& zone);

// "2 alerts are open: 12, today, unseen: WHAT; 14, now, seen: WHAT".
[[nodiscard]] std::string alerts_answer(const std::vector<rules::Alert>& open);

}  // namespace torpor::daemon
