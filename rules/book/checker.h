// Third stage of the rule language: tree -> checked condition. Quantities of the scope, units of
// the dimension, limits that can be met, durations that are some.
#pragma once

#include <map>
#include <vector>

#include "rules/book/condition_tree.h"
#include "rules/book/parsed_condition.h"
#include "rules/book/rule.h"

namespace torpor::rules {

// Longest `lasting`: jars are kept for years, but an alert after more than a year warns of nothing.
inline constexpr Duration kLongestLasting = std::chrono::days(366);

// Longest `over`: the engine keeps every change of the value so long, and a sensor that speaks
// every ten seconds makes 60,000 a week (6 MB). Longest `within`: a condition changes far less
// often.
inline constexpr Duration kLongestWindow = std::chrono::days(7);
inline constexpr Duration kLongestTimeWindow = std::chrono::days(31);

struct CheckedCondition {
  Condition condition;                           // null if anything was at fault
  std::map<const ConditionNode*, Span> clauses;  // where each comparison stands
};

// Appends to `faults` every mistake found. Parts that the parser gave up on are passed over.
[[nodiscard]] CheckedCondition check_condition(const ParsedNode& parsed, Scope scope,
                                               std::vector<RuleFault>& faults);

// What an expression can come to, and how far past a limit it must be to ease by default.
struct ValueRange {
  double lowest = 0.0, highest = 0.0;  // canonical
  double margin = 0.0;
};
[[nodiscard]] ValueRange range_of(const Expression& expression);

}  // namespace torpor::rules
