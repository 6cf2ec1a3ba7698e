#include "rules/book/ease.h"

#include <algorithm>
#include <utility>

#include "rules/book/condition_tree.h"

namespace torpor::rules {
namespace {

// `limit` moved by `by`, or half way to the edge of what is possible if it would pass that.
WrittenAmount moved(const Clause& clause, const WrittenAmount& limit, double by) {
  const ValueRange range = range_of(clause.of);
  const double value = to_canonical(limit, clause.of.dimension);
  double target = value + by;
  if (target < range.lowest) target = (value + range.lowest) / 2.0;
  if (target > range.highest) target = (value + range.highest) / 2.0;
  if (clause.of.dimension == Dimension::duration) {
    return written_duration(std::chrono::seconds(static_cast<std::int64_t>(target)));
  }
  return from_canonical(target, limit.unit, clause.of.dimension);
}

Condition with_limit(const Clause& clause, Comparison comparison, const WrittenAmount& limit) {
  return make_condition(Clause{clause.of, comparison, limit, {}});
}

Condition known_true(const Condition& condition);
Condition known_false(const Condition& condition);

Condition known_false(const Clause& clause) {
  const double margin = range_of(clause.of).margin;
  switch (clause.comparison) {
    case Comparison::above:
      return with_limit(clause, Comparison::at_most, moved(clause, clause.limit, -margin));
    case Comparison::at_least:
      return with_limit(clause, Comparison::below, moved(clause, clause.limit, -margin));
    case Comparison::below:
      return with_limit(clause, Comparison::at_least, moved(clause, clause.limit, margin));
    case Comparison::at_most:
      return with_limit(clause, Comparison::above, moved(clause, clause.limit, margin));
    case Comparison::between:
      break;
  }
  return make_condition(
      AnyOf{{with_limit(clause, Comparison::below, moved(clause, clause.limit, -margin)),
             with_limit(clause, Comparison::above, moved(clause, clause.upper, margin))}});
}

Condition known_true(const Clause& clause) {
  const double margin = range_of(clause.of).margin;
  const bool upward =
      clause.comparison == Comparison::above || clause.comparison == Comparison::at_least;
  if (clause.comparison != Comparison::between) {
    return with_limit(clause, clause.comparison,
                      moved(clause, clause.limit, upward ? margin : -margin));
  }
  // Narrowed by the margin, but never to nothing.
  const double width = to_canonical(clause.upper, clause.of.dimension) -
                       to_canonical(clause.limit, clause.of.dimension);
  const double inward = std::min(margin, width / 4.0);
  return make_condition(Clause{clause.of, Comparison::between, moved(clause, clause.limit, inward),
                               moved(clause, clause.upper, -inward)});
}

// Each part through `each`, into one group without groups of its own kind inside.
template <class Group>
Condition grouped(const std::vector<Condition>& parts, Condition (*each)(const Condition&)) {
  Group group;
  for (const Condition& part : parts) {
    Condition changed = each(part);
    if (const auto* inner = std::get_if<Group>(&changed->what)) {
      group.parts.insert(group.parts.end(), inner->parts.begin(), inner->parts.end());
    } else {
      group.parts.push_back(std::move(changed));
    }
  }
  return make_condition(std::move(group));
}

Condition known_false(const Condition& condition) {
  if (const auto* clause = std::get_if<Clause>(&condition->what)) return known_false(*clause);
  if (const auto* all = std::get_if<AllOf>(&condition->what)) {
    return grouped<AnyOf>(all->parts, known_false);
  }
  if (const auto* any = std::get_if<AnyOf>(&condition->what)) {
    return grouped<AllOf>(any->parts, known_false);
  }
  if (const auto* negation = std::get_if<Negation>(&condition->what)) {
    return known_true(negation->of);
  }
  return known_false(std::get<Lasting>(condition->what).of);
}

Condition known_true(const Condition& condition) {
  if (const auto* clause = std::get_if<Clause>(&condition->what)) return known_true(*clause);
  if (const auto* all = std::get_if<AllOf>(&condition->what)) {
    return grouped<AllOf>(all->parts, known_true);
  }
  if (const auto* any = std::get_if<AnyOf>(&condition->what)) {
    return grouped<AnyOf>(any->parts, known_true);
  }
  if (const auto* negation = std::get_if<Negation>(&condition->what)) {
    return known_false(negation->of);
  }
  return known_true(std::get<Lasting>(condition->what).of);
}

}  // namespace

Condition default_ease(const Condition& when) {
  return make_condition(Lasting{known_false(when), kEaseAfter});
}

Condition ease_of(const Rule& rule) { return rule.until ? *rule.until : default_ease(rule.when); }

}  // namespace torpor::rules
