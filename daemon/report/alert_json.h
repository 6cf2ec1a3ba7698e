// An alert as JSON: the payload of the retained topic alert/<number>, the body kept in the history,
// and one entry of `torpor alerts --json`. One form for all three, read back by the same file.
#pragma once

#include <string>
#include <string_view>

#include <nlohmann/json_fwd.hpp>
#include <tl/expected.hpp>

#include "daemon/report/views.h"

namespace torpor::daemon {

// One object: number, rule, subject_kind, subject, urgency, state, since, raised, eased, ended,
// seen (time or null), seen_by, deferred_until, deferred_reason, what, why, remedies [{name,
// advice}], jars, figures [{name, value, unit}].
[[nodiscard]] std::string alert_json(const AlertView& view);
[[nodiscard]] nlohmann::ordered_json alert_tree(const AlertView& view);

// Reads what alert_json() wrote, also by an older version: a missing field keeps its default.
// Error: a sentence. alert_from_json(alert_json(v)) == v for alerts of this version's remedies.
[[nodiscard]] tl::expected<AlertView, std::string> alert_from_json(std::string_view text);

}  // namespace torpor::daemon
