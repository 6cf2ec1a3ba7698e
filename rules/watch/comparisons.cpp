#include "rules/watch/comparisons.h"

namespace torpor::rules {
namespace {

RuleQuantity quantity_of(const Term& term) { return std::get<QuantityAt>(term).quantity; }

}  // namespace

bool Comparisons::suffice_for(const Program& program) {
  const auto is_own = [](const ProgramSlot& slot) {
    const bool is_time = !slot.window || slot.window->kind == WindowKind::time_with;
    return slot.quantity.place.empty() && is_time;
  };
  const auto is_of_one_kind = [&program](const ProgramClause& clause) {
    return !clause.minus ||
           !program.slots[clause.slot].window == !program.slots[*clause.minus].window;
  };
  return std::all_of(program.slots.begin(), program.slots.end(), is_own) &&
         std::all_of(program.clauses.begin(), program.clauses.end(), is_of_one_kind);
}

void Comparisons::add(const Program& program) {
  for (const ProgramSlot& slot : program.slots) {
    if (slot.window) add(slot.window->with);
  }
  for (const ProgramClause& clause : program.clauses) {
    // How long a condition held moves with time alone while the condition comes out the same.
    if (program.slots[clause.slot].window) continue;
    std::optional<RuleQuantity> minus;
    if (clause.minus) minus = program.slots[*clause.minus].quantity.quantity;
    add(clause, program.slots[clause.slot].quantity.quantity, minus);
  }
}

void Comparisons::add(const Condition& condition) {
  if (const auto* clause = std::get_if<Clause>(&condition->what)) {
    std::optional<RuleQuantity> minus;
    if (clause->of.minus) minus = quantity_of(*clause->of.minus);
    add(flat_clause(*clause), quantity_of(clause->of.term), minus);
  } else if (const auto* all = std::get_if<AllOf>(&condition->what)) {
    for (const Condition& part : all->parts) add(part);
  } else if (const auto* any = std::get_if<AnyOf>(&condition->what)) {
    for (const Condition& part : any->parts) add(part);
  } else if (const auto* negation = std::get_if<Negation>(&condition->what)) {
    add(negation->of);
  } else {
    add(std::get<Lasting>(condition->what).of);
  }
}

void Comparisons::add(ProgramClause clause, RuleQuantity of, std::optional<RuleQuantity> minus) {
  clause.slot = index_of(of);
  clause.minus.reset();
  if (minus) clause.minus = index_of(*minus);
  const auto same = [&clause](const Compared& each) {
    const ProgramClause& other = each.clause;
    return other.slot == clause.slot && other.minus == clause.minus &&
           other.comparison == clause.comparison && other.limit == clause.limit &&
           other.upper == clause.upper;
  };
  if (std::none_of(compared_.begin(), compared_.end(), same)) compared_.push_back({clause});
}

std::size_t Comparisons::index_of(RuleQuantity quantity) {
  const auto known = std::find(quantities_.begin(), quantities_.end(), quantity);
  const auto index = static_cast<std::size_t>(known - quantities_.begin());
  if (known == quantities_.end()) {
    quantities_.push_back(quantity);
    signals_.emplace_back();
  }
  return index;
}

}  // namespace torpor::rules
