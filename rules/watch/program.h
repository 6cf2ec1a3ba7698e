// A rule's conditions compiled for the engine: flat, with every quantity it names once. Immutable;
// shared by all instances of the rule.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "rules/book/condition_tree.h"
#include "rules/book/rule.h"

namespace torpor::rules {

struct ProgramClause {
  std::size_t slot = 0;              // which signal it compares
  std::optional<std::size_t> minus;  // which signal is taken from it first
  Comparison comparison = Comparison::above;
  double limit = 0.0, upper = 0.0;          // canonical
  std::int64_t limit_ms = 0, upper_ms = 0;  // of a duration
};

struct ProgramNode {
  enum class Kind : std::uint8_t { clause, all, any, negation, lasting };
  Kind kind = Kind::clause;
  std::uint16_t first_part = 0, part_count = 0;  // into Program::parts; 1 for negation, lasting
  std::uint16_t index = 0;                       // which clause, or which lasting
  Duration length{};                             // lasting
};

// What a clause reads: a quantity, or a value over a window of those at one place.
struct ProgramSlot {
  QuantityAt quantity;                   // of a window the first one it names
  std::shared_ptr<const Window> window;  // null: the quantity itself
  [[nodiscard]] bool reads(const Term& term) const;
};

struct Program {
  std::vector<ProgramSlot> slots;
  std::vector<ProgramClause> clauses;
  std::vector<ProgramNode> nodes;
  std::vector<std::uint16_t> parts;   // indices into nodes
  std::uint16_t when = 0, until = 0;  // indices into nodes
  std::uint16_t lastings = 0;
  // Precondition: one of the rule's conditions has the term.
  [[nodiscard]] std::size_t slot_of(const Term& term) const;
};

// `until` is the rule's own, or the default ease.
[[nodiscard]] Program compile(const Rule& rule);

// The parts of a rule that decide when it raises and eases, in canonical words: two rules of equal
// text share their state over a restart.
[[nodiscard]] std::string conditions_text(const Rule& rule);

}  // namespace torpor::rules
