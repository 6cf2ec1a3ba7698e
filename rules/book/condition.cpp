#include "rules/book/condition.h"

#include <algorithm>
#include <functional>
#include <string_view>

#include "rules/book/condition_tree.h"

namespace torpor::rules {
namespace {

std::string_view comparison_words(Comparison comparison) {
  switch (comparison) {
    case Comparison::above:
      return "above";
    case Comparison::below:
      return "below";
    case Comparison::at_least:
      return "at least";
    case Comparison::at_most:
      return "at most";
    case Comparison::between:
      return "between";
  }
  return "";
}

bool is_clause(const Condition& condition) {
  return std::holds_alternative<Clause>(condition->what);
}

std::string grouped(const Condition& condition) { return "(" + to_text(condition) + ")"; }

std::string term_text(const Term& term);

std::string window_text(const Window& window) {
  if (window.kind == WindowKind::time_with) {
    const std::string held = is_clause(window.with) ? to_text(window.with) : grouped(window.with);
    return "time with " + held + " within " + duration_text(window.length);
  }
  std::string_view words = "rise of ";
  if (window.kind == WindowKind::average) words = "average of ";
  if (window.kind == WindowKind::highest) words = "highest of ";
  if (window.kind == WindowKind::lowest) words = "lowest of ";
  const std::string of = to_text(*window.of);
  return std::string(words) + (window.of->minus ? "(" + of + ")" : of) + " over " +
         duration_text(window.length);
}

std::string term_text(const Term& term) {
  if (const auto* window = std::get_if<Window>(&term)) return window_text(*window);
  const auto& quantity = std::get<QuantityAt>(term);
  std::string text(facts(quantity.quantity).name);
  if (!quantity.place.empty()) text += " at " + quantity.place;
  return text;
}

// Operands of `and` and `or`: a group of the other kind keeps the parentheses it was understood by.
std::string operand_text(const Condition& part) {
  const bool group =
      std::holds_alternative<AllOf>(part->what) || std::holds_alternative<AnyOf>(part->what);
  return group ? grouped(part) : to_text(part);
}

std::string joined(const std::vector<Condition>& parts, std::string_view word) {
  std::string text;
  for (const Condition& part : parts) {
    if (!text.empty()) text += word;
    text += operand_text(part);
  }
  return text;
}

struct Printer {
  std::string operator()(const Clause& clause) const {
    return to_text(clause.of) + " " + limit_text(clause);
  }
  std::string operator()(const AllOf& all) const { return joined(all.parts, " and "); }
  std::string operator()(const AnyOf& any) const { return joined(any.parts, " or "); }
  std::string operator()(const Negation& negation) const {
    const bool plain =
        is_clause(negation.of) || std::holds_alternative<Negation>(negation.of->what);
    return "not " + (plain ? to_text(negation.of) : grouped(negation.of));
  }
  std::string operator()(const Lasting& lasting) const {
    return (is_clause(lasting.of) ? to_text(lasting.of) : grouped(lasting.of)) + " lasting " +
           duration_text(lasting.length);
  }
};

bool same_parts(const std::vector<Condition>& a, const std::vector<Condition>& b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(), same_condition);
}

void gather_places(const Expression& expression, std::vector<std::string>& places);

void gather_places(const Condition& condition, std::vector<std::string>& places) {
  if (const auto* clause = std::get_if<Clause>(&condition->what)) {
    gather_places(clause->of, places);
  } else if (const auto* all = std::get_if<AllOf>(&condition->what)) {
    for (const Condition& part : all->parts) gather_places(part, places);
  } else if (const auto* any = std::get_if<AnyOf>(&condition->what)) {
    for (const Condition& part : any->parts) gather_places(part, places);
  } else if (const auto* negation = std::get_if<Negation>(&condition->what)) {
    gather_places(negation->of, places);
  } else {
    gather_places(std::get<Lasting>(condition->what).of, places);
  }
}

void gather_places(const Term& term, std::vector<std::string>& places) {
  if (const auto* quantity = std::get_if<QuantityAt>(&term)) {
    if (!quantity->place.empty()) places.push_back(quantity->place);
    return;
  }
  const auto& window = std::get<Window>(term);
  if (window.of) gather_places(*window.of, places);
  if (window.with) gather_places(window.with, places);
}

void gather_places(const Expression& expression, std::vector<std::string>& places) {
  gather_places(expression.term, places);
  if (expression.minus) gather_places(*expression.minus, places);
}

}  // namespace

bool operator==(const Window& a, const Window& b) {
  const bool same_of = a.of && b.of ? *a.of == *b.of : a.of == b.of;
  const bool same_with = a.with && b.with ? same_condition(a.with, b.with) : a.with == b.with;
  return a.kind == b.kind && a.length == b.length && same_of && same_with;
}

Condition make_condition(decltype(ConditionNode::what) what) {
  return std::make_shared<const ConditionNode>(ConditionNode{std::move(what)});
}

bool same_condition(const Condition& a, const Condition& b) {
  if (a->what.index() != b->what.index()) return false;
  if (const auto* clause = std::get_if<Clause>(&a->what)) {
    return *clause == std::get<Clause>(b->what);
  }
  if (const auto* all = std::get_if<AllOf>(&a->what)) {
    return same_parts(all->parts, std::get<AllOf>(b->what).parts);
  }
  if (const auto* any = std::get_if<AnyOf>(&a->what)) {
    return same_parts(any->parts, std::get<AnyOf>(b->what).parts);
  }
  if (const auto* negation = std::get_if<Negation>(&a->what)) {
    return same_condition(negation->of, std::get<Negation>(b->what).of);
  }
  const auto& lasting = std::get<Lasting>(a->what);
  const auto& other = std::get<Lasting>(b->what);
  return lasting.length == other.length && same_condition(lasting.of, other.of);
}

std::string to_text(const Window& window) { return window_text(window); }

std::string to_text(const Expression& expression) {
  std::string text = term_text(expression.term);
  if (expression.minus) text += " minus " + term_text(*expression.minus);
  return text;
}

std::string limit_text(const Clause& clause) {
  std::string text = std::string(comparison_words(clause.comparison)) + " " + to_text(clause.limit);
  if (clause.comparison == Comparison::between) text += " and " + to_text(clause.upper);
  return text;
}

std::string to_text(const Condition& condition) { return std::visit(Printer{}, condition->what); }

std::vector<std::string> places_named(const Condition& condition) {
  std::vector<std::string> places;
  gather_places(condition, places);
  std::sort(places.begin(), places.end());
  places.erase(std::unique(places.begin(), places.end()), places.end());
  return places;
}

}  // namespace torpor::rules
