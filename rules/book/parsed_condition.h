// Second stage of the rule language: what the words of a condition say, not yet whether it makes
// sense. Every part knows where it stands, so that the checker can point at it.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rules/book/condition_tree.h"
#include "rules/book/rule.h"
#include "rules/book/tokens.h"

namespace torpor::rules {

struct ParsedAmount {
  double number = 0.0;
  std::string unit;  // empty: none was written
  Span number_span;
  Span unit_span;  // where the unit stands, or would stand
  [[nodiscard]] Span span() const { return joined(number_span, unit_span); }
};

struct ParsedExpression;
struct ParsedNode;

struct ParsedTerm {
  Span span;
  std::string name;  // a quantity's words, in lower case; empty for a window
  Span name_span;
  std::string place;  // empty: the subject's own
  std::optional<WindowKind> window;
  std::shared_ptr<const ParsedExpression> of;  // every window but time_with
  std::shared_ptr<const ParsedNode> with;      // time_with
  ParsedAmount length;
};

struct ParsedExpression {
  Span span;
  ParsedTerm term;
  std::optional<ParsedTerm> minus;
};

struct ParsedNode {
  enum class Kind { broken, clause, all, any, negation, lasting };
  Kind kind = Kind::broken;  // broken: its fault is reported, the rest is still checked
  Span span;
  ParsedExpression of;  // clause
  Comparison comparison = Comparison::above;
  ParsedAmount limit, upper;
  std::vector<ParsedNode> parts;  // all, any: two or more; negation, lasting: one
  ParsedAmount length;            // lasting
};

// Limits of one condition. A person reads and writes these, so they are far above use and far
// below what would strain the parser's stack, the checker or the engine.
inline constexpr std::size_t kLongestCondition = 4000;  // bytes: fifty lines
inline constexpr int kDeepestNesting = 24;              // parentheses and nots, one in another
inline constexpr int kMostClauses = 48;

// Appends to `faults` all mistakes found (offsets into `text`; the field is left to the caller).
[[nodiscard]] ParsedNode parse_condition(std::string_view text, std::vector<RuleFault>& faults);

// A word as messages show it: in quotes, cut to `longest` bytes, control characters made visible.
[[nodiscard]] std::string quoted(std::string_view word, std::size_t longest = 40);

}  // namespace torpor::rules
