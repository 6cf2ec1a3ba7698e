// A checked condition of a rule: the immutable tree that the engine evaluates. Made only by
// check_rule() (rule.h); printed back in canonical words by to_text().
#pragma once

#include <memory>
#include <string>
#include <vector>

namespace torpor::rules {

// What a rule is about; decides which quantities its conditions may name.
enum class Scope { place, jar, sensor, service };

struct ConditionNode;
using Condition = std::shared_ptr<const ConditionNode>;

// Canonical words, with the parentheses as they were understood.
[[nodiscard]] std::string to_text(const Condition& condition);

// The places it names with `at`, sorted, each once. A rule knows no layout, so whoever has one
// refuses those that do not exist.
[[nodiscard]] std::vector<std::string> places_named(const Condition& condition);

}  // namespace torpor::rules
