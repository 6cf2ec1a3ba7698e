// When an alert is over. A rule without `until` eases when its `when` is known to be false by a
// margin for a while; a rule with one must not ease while it would be raised.
#pragma once

#include <optional>
#include <vector>

#include "rules/book/checker.h"
#include "rules/book/condition.h"
#include "rules/book/rule.h"

namespace torpor::rules {

// How long `when` must be false by default: longer than a door stands open or a cloud passes, and
// short against what warmth and damp need to do harm.
inline constexpr Duration kEaseAfter = std::chrono::minutes(10);

// `temperature above 27 °C lasting 2 h` -> `temperature at most 26.5 °C lasting 10 min`. Margins
// are those of the table of quantities, cut to half the way where the full one is impossible.
[[nodiscard]] Condition default_ease(const Condition& when);

// What eases a rule: its `until`, else default_ease() of its `when`.
[[nodiscard]] Condition ease_of(const Rule& rule);

// Comparisons of `until` that can hold together with `when` for the same quantity: the alert would
// come and go. `lasting` is disregarded. Faults point into `until`.
[[nodiscard]] std::vector<RuleFault> chatter_faults(const CheckedCondition& when,
                                                    const CheckedCondition& until);

}  // namespace torpor::rules
