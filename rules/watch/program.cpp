#include "rules/watch/program.h"

#include <algorithm>
#include <cmath>

#include "rules/book/ease.h"

namespace torpor::rules {
namespace {

std::uint16_t as_index(std::size_t n) { return static_cast<std::uint16_t>(n); }

std::int64_t milliseconds_of(double seconds) {
  return static_cast<std::int64_t>(std::llround(seconds * 1000.0));
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
    ProgramClause flat;
    flat.slot = slot_of(std::get<QuantityAt>(clause.of.term));
    if (clause.of.minus) flat.minus = slot_of(std::get<QuantityAt>(*clause.of.minus));
    flat.comparison = clause.comparison;
    flat.limit = to_canonical(clause.limit, clause.of.dimension);
    if (clause.comparison == Comparison::between) {
      flat.upper = to_canonical(clause.upper, clause.of.dimension);
    }
    flat.limit_ms = milliseconds_of(flat.limit);
    flat.upper_ms = milliseconds_of(flat.upper);
    program.clauses.push_back(flat);
    ProgramNode node;
    node.index = as_index(program.clauses.size() - 1);
    return add_node(node);
  }

  std::uint16_t add_group(ProgramNode::Kind kind, const std::vector<Condition>& conditions) {
    std::vector<std::uint16_t> compiled;
    for (const Condition& part : conditions) compiled.push_back(add(part));
    ProgramNode node;
    node.kind = kind;
    node.first_part = as_index(program.parts.size());
    node.part_count = as_index(compiled.size());
    program.parts.insert(program.parts.end(), compiled.begin(), compiled.end());
    return add_node(node);
  }

  std::size_t slot_of(const QuantityAt& quantity) {
    auto& slots = program.slots;
    const auto known = std::find(slots.begin(), slots.end(), quantity);
    if (known != slots.end()) return static_cast<std::size_t>(known - slots.begin());
    slots.push_back(quantity);
    return slots.size() - 1;
  }
};

}  // namespace

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
