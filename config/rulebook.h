// A rule book in YAML -> checked rules, with every fault at its line and column.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "config/fault.h"
#include "rules/book/rule.h"

namespace torpor::config {

struct RuleBookResult {
  rules::RuleBook rules;
  std::vector<Fault> faults;
};

// Largest book read: a book a person maintains is a few kB.
inline constexpr std::size_t kLargestRuleBook = std::size_t{1024} * 1024;

[[nodiscard]] RuleBookResult read_rulebook(std::string_view text, const std::string& file);

// The text of the book named `built-in`.
[[nodiscard]] std::string_view built_in_rulebook();

// Appends `more` to `book`; a name that already exists is a fault at its place in `file`.
// `file` and `text` are those `more` was read from.
void append_rules(rules::RuleBook& book, RuleBookResult more, std::string_view text,
                  const std::string& file, std::vector<Fault>& faults);

}  // namespace torpor::config
