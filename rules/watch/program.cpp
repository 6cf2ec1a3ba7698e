#include "rules/watch/program.h"

#include <algorithm>

#include "rules/book/ease.h"
#include "rules/watch/evaluator.h"

namespace torpor::rules {
namespace {

std::uint16_t as_index(std::size_t n) { return static_cast<std::uint16_t>(n); }

// A quantity of the place that the window looks at: the checker lets it have one only.
QuantityAt first_quantity(const Window& window);

QuantityAt first_quantity(const Condition& condition) {
  if (const auto* clause = std::get_if<Clause>(&condition->what)) {
    return std::get<QuantityAt>(clause->of.term);
  }
  if (const auto* negation = std::get_if<Negation>(&condition->what)) {
    return first_quantity(negation->of);
  }
  const auto* all = std::get_if<AllOf>(&condition->what);
  return first_quantity(all != nullptr ? all->parts.front()
                                       : std::get<AnyOf>(condition->what).parts.front());
}

QuantityAt first_quantity(const Window& window) {
  return window.of ? std::get<QuantityAt>(window.of->term) : first_quantity(window.with);
}

class Compiler {
 public:
  std::uint16_t add(const Condition& condition) {
    if (const auto* clause = std::get_if<Clause>(&condition->what)) return add_clause(*clause);
    if (const auto* all = std::get_if<AllOf>(&condition->what)) {
      return add_group(ProgramNode::Kind::all, all->parts);
    }
    if (const auto* any = std::get_if<AnyOf>(&condition->what)) {
      return add_group(ProgramNode::Kind::any, any->parts);
    }
    if (const auto* negation = std::get_if<Negation>(&condition->what)) {
      return add_group(ProgramNode::Kind::negation, {negation->of});
    }
    const auto& lasting = std::get<Lasting>(condition->what);
    const std::uint16_t node = add_group(ProgramNode::Kind::lasting, {lasting.of});
    program.nodes[node].index = program.lastings++;
    program.nodes[node].length = lasting.length;
    return node;
  }

  Program program;

 private:
  std::uint16_t add_node(const ProgramNode& node) {
    program.nodes.push_back(node);
    return as_index(program.nodes.size() - 1);
  }

  std::uint16_t add_clause(const Clause& clause) {
    ProgramClause flat = flat_clause(clause);
    flat.slot = slot_of(clause.of.term);
    if (clause.of.minus) flat.minus = slot_of(*clause.of.minus);
    program.clauses.push_back(flat);
    ProgramNode node;
    node.index = as_index(program.clauses.size() - 1);
    return add_node(node);
  }

  std::uint16_t add_group(ProgramNode::Kind kind, const std::vector<Condition>& conditions) {
    std::vector<std::uint16_t> compiled;
    compiled.reserve(conditions.size());
    for (const Condition& part : conditions) compiled.push_back(add(part));
    ProgramNode node;
    node.kind = kind;
    node.first_part = as_index(program.parts.size());
    node.part_count = as_index(compiled.size());
    program.parts.insert(program.parts.end(), compiled.begin(), compiled.end());
    return add_node(node);
  }

  std::size_t slot_of(const Term& term) {
    const std::size_t known = program.slot_of(term);
    if (known < program.slots.size()) return known;
    ProgramSlot slot;
    if (const auto* window = std::get_if<Window>(&term)) {
      slot.window = std::make_shared<const Window>(*window);
      slot.quantity = first_quantity(*window);
    } else {
      slot.quantity = std::get<QuantityAt>(term);
    }
    program.slots.push_back(std::move(slot));
    return known;
  }
};

}  // namespace

bool ProgramSlot::reads(const Term& term) const {
  if (const auto* other = std::get_if<Window>(&term)) return window && *window == *other;
  return !window && quantity == std::get<QuantityAt>(term);
}

std::size_t Program::slot_of(const Term& term) const {
  const auto known = std::find_if(slots.begin(), slots.end(),
                                  [&](const ProgramSlot& slot) { return slot.reads(term); });
  return static_cast<std::size_t>(known - slots.begin());
}

Program compile(const Rule& rule) {
  Compiler compiler;
  const std::uint16_t when = compiler.add(rule.when);
  const std::uint16_t until = compiler.add(ease_of(rule));
  compiler.program.when = when;
  compiler.program.until = until;
  return std::move(compiler.program);
}

std::string conditions_text(const Rule& rule) {
  return std::string(scope_name(rule.concerns)) + "\n" + to_text(rule.when) + "\n" +
         to_text(ease_of(rule));
}

}  // namespace torpor::rules
