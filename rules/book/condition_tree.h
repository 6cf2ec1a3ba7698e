// The inside of a checked condition: the nodes that the formatter prints and the engine compiles.
// Immutable and shared. Nothing here is unchecked: dimensions agree, limits are possible, every
// quantity is one that the engine supplies for the rule's scope.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "rules/book/condition.h"
#include "rules/book/rule_quantity.h"
#include "rules/book/units.h"
#include "sensors/reading.h"

namespace torpor::rules {

// above and below are strict; between holds both its ends.
enum class Comparison : std::uint8_t { above, below, at_least, at_most, between };

struct QuantityAt {
  RuleQuantity quantity = RuleQuantity::temperature;
  std::string place;  // empty: the subject's own
  friend bool operator==(const QuantityAt&, const QuantityAt&) = default;
};

enum class WindowKind : std::uint8_t { average, highest, lowest, rise, time_with };

struct Expression;

// What a value, or the time a condition held, comes to over (t - length, t].
struct Window {
  WindowKind kind = WindowKind::average;
  std::shared_ptr<const Expression> of;  // all but time_with; holds no window
  Condition with;                        // time_with; holds no window and no lasting
  Duration length{};
  friend bool operator==(const Window& a, const Window& b);
};

using Term = std::variant<QuantityAt, Window>;

struct Expression {
  Term term;
  std::optional<Term> minus;
  Dimension dimension = Dimension::number;  // of the whole: a difference of temperatures is one
  friend bool operator==(const Expression&, const Expression&) = default;
};

struct Clause {
  Expression of;
  Comparison comparison = Comparison::above;
  WrittenAmount limit;  // the lower end of between
  WrittenAmount upper;  // between only
  friend bool operator==(const Clause&, const Clause&) = default;
};

struct AllOf {
  std::vector<Condition> parts;
};  // two or more, none of them an AllOf
struct AnyOf {
  std::vector<Condition> parts;
};  // two or more, none of them an AnyOf
struct Negation {
  Condition of;
};
struct Lasting {
  Condition of;
  Duration length{};
};

struct ConditionNode {
  std::variant<Clause, AllOf, AnyOf, Negation, Lasting> what;
};

[[nodiscard]] Condition make_condition(decltype(ConditionNode::what) what);
// Same tree, node for node.
[[nodiscard]] bool same_condition(const Condition& a, const Condition& b);
[[nodiscard]] std::string to_text(const Expression& expression);
[[nodiscard]] std::string to_text(const Window& window);
// "above 27 °C", "between 20 °C and 25 °C".
[[nodiscard]] std::string limit_text(const Clause& clause);

}  // namespace torpor::rules
