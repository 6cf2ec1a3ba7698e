// Whether `until` can hold while `when` does. Both are written as alternatives, each a list of
// value ranges that hold together; two alternatives that agree on every quantity they share, and
// share one, can hold at once.
#include <limits>
#include <string>

#include <fmt/core.h>

#include "rules/book/ease.h"
#include "rules/book/parsed_condition.h"

namespace torpor::rules {
namespace {

// Bytes of a clause as a message shows it: a place of some depth fits, a made-up one does not.
constexpr std::size_t kLongestClause = 200;

// Alternatives kept of one condition. Forty-eight comparisons could make millions; a rule that a
// person can follow makes a few.
constexpr std::size_t kMostAlternatives = 200;

struct Interval {
  double low = -std::numeric_limits<double>::infinity();
  double high = std::numeric_limits<double>::infinity();
  bool holds_low = false, holds_high = false;

  [[nodiscard]] bool empty() const {
    return low > high || (low == high && !(holds_low && holds_high));
  }
};

Interval common(const Interval& a, const Interval& b) {
  Interval both = a;
  if (b.low > a.low || (b.low == a.low && !b.holds_low)) {
    both.low = b.low;
    both.holds_low = b.holds_low;
  }
  if (b.high < a.high || (b.high == a.high && !b.holds_high)) {
    both.high = b.high;
    both.holds_high = b.holds_high;
  }
  return both;
}

struct Held {
  const ConditionNode* clause;
  const Expression* of;
  Interval in;
};
using Alternative = std::vector<Held>;
using Alternatives = std::vector<Alternative>;

std::vector<Interval> intervals_of(const Clause& clause, bool negated) {
  constexpr double kInfinity = std::numeric_limits<double>::infinity();
  const double limit = to_canonical(clause.limit, clause.of.dimension);
  const Interval above{limit, kInfinity, false, false}, at_least{limit, kInfinity, true, false};
  const Interval below{-kInfinity, limit, false, false}, at_most{-kInfinity, limit, false, true};
  switch (clause.comparison) {
    case Comparison::above:
      return {negated ? at_most : above};
    case Comparison::below:
      return {negated ? at_least : below};
    case Comparison::at_least:
      return {negated ? below : at_least};
    case Comparison::at_most:
      return {negated ? above : at_most};
    case Comparison::between:
      break;
  }
  const double upper = to_canonical(clause.upper, clause.of.dimension);
  if (negated) return {below, Interval{upper, kInfinity, false, false}};
  return {Interval{limit, upper, true, true}};
}

// Every way to take one alternative of each; empty if they are too many to follow.
Alternatives products(const std::vector<Alternatives>& parts) {
  Alternatives all{{}};
  for (const Alternatives& part : parts) {
    if (part.empty() || all.size() * part.size() > kMostAlternatives) return {};
    Alternatives longer;
    for (const Alternative& head : all) {
      for (const Alternative& tail : part) {
        longer.push_back(head);
        longer.back().insert(longer.back().end(), tail.begin(), tail.end());
      }
    }
    all = std::move(longer);
  }
  return all;
}

Alternatives sums(const std::vector<Alternatives>& parts) {
  Alternatives all;
  for (const Alternatives& part : parts) {
    if (part.empty() || all.size() + part.size() > kMostAlternatives) return {};
    all.insert(all.end(), part.begin(), part.end());
  }
  return all;
}

// Empty: too many.
Alternatives alternatives_of(const Condition& condition, bool negated) {
  if (const auto* clause = std::get_if<Clause>(&condition->what)) {
    Alternatives all;
    for (const Interval& in : intervals_of(*clause, negated)) {
      all.push_back({Held{condition.get(), &clause->of, in}});
    }
    return all;
  }
  if (const auto* negation = std::get_if<Negation>(&condition->what)) {
    return alternatives_of(negation->of, !negated);
  }
  if (const auto* lasting = std::get_if<Lasting>(&condition->what)) {
    return alternatives_of(lasting->of, negated);
  }
  const auto* all = std::get_if<AllOf>(&condition->what);
  const auto& parts = all != nullptr ? all->parts : std::get<AnyOf>(condition->what).parts;
  std::vector<Alternatives> of_parts;
  of_parts.reserve(parts.size());
  for (const Condition& part : parts) of_parts.push_back(alternatives_of(part, negated));
  return (all != nullptr) != negated ? products(of_parts) : sums(of_parts);
}

// What of `held` is left once every range of the same quantity in `with` has been applied.
Interval narrowed(const Held& held, const Alternative& with) {
  Interval in = held.in;
  for (const Held& other : with) {
    if (*other.of == *held.of) in = common(in, other.in);
  }
  return in;
}

struct Clash {
  const ConditionNode* when = nullptr;
  const ConditionNode* until = nullptr;
};

// Null members: they cannot hold together, or have no quantity in common.
Clash clash_of(const Alternative& when, const Alternative& until) {
  Alternative both = when;
  both.insert(both.end(), until.begin(), until.end());
  for (const Held& held : both) {
    if (narrowed(held, both).empty()) return {};
  }
  for (const Held& later : until) {
    for (const Held& earlier : when) {
      if (*earlier.of == *later.of) return {earlier.clause, later.clause};
    }
  }
  return {};
}

}  // namespace

std::vector<RuleFault> chatter_faults(const CheckedCondition& when, const CheckedCondition& until) {
  const Alternatives raises = alternatives_of(when.condition, false);
  const Alternatives eases = alternatives_of(until.condition, false);
  if (raises.empty() || eases.empty()) {
    return {{RuleField::until, 0, 0, 0,
             "too many combinations of 'and' and 'or' to see whether 'until' fits 'when'; split "
             "the rule"}};
  }
  std::map<const ConditionNode*, const ConditionNode*> clashes;  // until -> when
  for (const Alternative& raise : raises) {
    for (const Alternative& ease : eases) {
      const Clash clash = clash_of(raise, ease);
      if (clash.until != nullptr) clashes.emplace(clash.until, clash.when);
    }
  }
  std::vector<RuleFault> faults;
  for (const auto& [ends, raised] : clashes) {
    const Span span = until.clauses.at(ends);
    const auto& clause = std::get<Clause>(ends->what);
    const auto& raise = std::get<Clause>(raised->what);
    faults.push_back(
        {RuleField::until, 0, span.offset, span.length,
         fmt::format("{} can hold while {} still raises the alert, which would come and go; put "
                     "its limit on the other side of {}",
                     quoted(to_text(clause.of) + " " + limit_text(clause), kLongestClause),
                     quoted(to_text(raise.of) + " " + limit_text(raise), kLongestClause),
                     to_text(raise.limit))});
  }
  return faults;
}

}  // namespace torpor::rules
