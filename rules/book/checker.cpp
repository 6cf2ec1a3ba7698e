#include "rules/book/checker.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <utility>

#include <fmt/core.h>

#include "rules/book/near_word.h"

namespace torpor::rules {
namespace {

std::string list_of(Scope scope) {
  std::string text;
  for (const RuleQuantityFacts& row : rule_quantities()) {
    if (row.scope != scope) continue;
    if (!text.empty()) text += ", ";
    text += row.name;
  }
  return text;
}

std::string scope_phrase(Scope scope) {
  return scope == Scope::service ? "the service" : fmt::format("a {}", scope_name(scope));
}

bool same_letters(std::string_view a, std::string_view b) {
  const auto lower = [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c; };
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [&](char x, char y) { return lower(x) == lower(y); });
}

// The unit of this dimension that was written in the wrong case or without its degree sign.
std::string unit_hint(std::string_view word, Dimension dimension) {
  constexpr std::array<std::pair<std::string_view, RuleUnit>, 9> kSlips{
      {{"c", RuleUnit::celsius},
       {"deg", RuleUnit::celsius},
       {"°", RuleUnit::celsius},
       {"f", RuleUnit::fahrenheit},
       {"m", RuleUnit::minute},
       {"mins", RuleUnit::minute},
       {"hrs", RuleUnit::hour},
       {"secs", RuleUnit::second},
       {"rh", RuleUnit::percent}}};
  for (const auto& [slip, unit] : kSlips) {
    if (same_letters(slip, word) && measures(unit, dimension)) {
      return fmt::format("; did you mean {}?", facts(unit).symbol);
    }
  }
  for (int i = 0; i < static_cast<int>(RuleUnit::none); ++i) {
    const auto unit = static_cast<RuleUnit>(i);
    if (same_letters(facts(unit).symbol, word) && measures(unit, dimension)) {
      return fmt::format("; did you mean {}?", facts(unit).symbol);
    }
  }
  return {};
}

std::string number_only(double number) { return to_text(WrittenAmount{number, RuleUnit::none}); }

class Checker {
 public:
  Checker(Scope scope, std::vector<RuleFault>& faults) : scope_(scope), faults_(faults) {}

  Condition check(const ParsedNode& node) {
    switch (node.kind) {
      case ParsedNode::Kind::broken:
        return nullptr;
      case ParsedNode::Kind::clause:
        return clause(node);
      case ParsedNode::Kind::all: {
        auto parts = checked_parts(node);
        return parts.empty() ? nullptr : make_condition(AllOf{std::move(parts)});
      }
      case ParsedNode::Kind::any: {
        auto parts = checked_parts(node);
        return parts.empty() ? nullptr : make_condition(AnyOf{std::move(parts)});
      }
      case ParsedNode::Kind::negation: {
        Condition of = check(node.parts.front());
        return of ? make_condition(Negation{std::move(of)}) : nullptr;
      }
      case ParsedNode::Kind::lasting:
        return lasting(node);
    }
    return nullptr;
  }

  std::map<const ConditionNode*, Span> clauses;

 private:
  void fault(Span span, std::string message) {
    faults_.push_back({RuleField::when, 0, span.offset, span.length, std::move(message)});
  }

  // Empty if any part is at fault; all are looked at.
  std::vector<Condition> checked_parts(const ParsedNode& node) {
    std::vector<Condition> parts;
    for (const ParsedNode& part : node.parts) {
      if (Condition checked = check(part)) parts.push_back(std::move(checked));
    }
    if (parts.size() != node.parts.size()) parts.clear();
    return parts;
  }

  Condition lasting(const ParsedNode& node) {
    if (in_window_) {
      fault(node.length.span(), "'lasting' inside 'time with'; what is summed has no duration");
      return nullptr;
    }
    Condition of = check(node.parts.front());
    const auto length = duration(node.length, "lasting", kLongestLasting);
    return of && length ? make_condition(Lasting{std::move(of), *length}) : nullptr;
  }

  std::optional<Duration> duration(const ParsedAmount& amount, std::string_view word,
                                   Duration longest) {
    const std::string number = number_only(amount.number);
    if (amount.unit.empty()) {
      fault(amount.number_span, fmt::format("{} has no unit; a duration is written in {}", number,
                                            units_for(Dimension::duration)));
      return std::nullopt;
    }
    const auto unit = rule_unit_named(amount.unit);
    if (!unit || !measures(*unit, Dimension::duration)) {
      fault(amount.unit_span, fmt::format("{} is no unit of time; write {}{}", quoted(amount.unit),
                                          units_for(Dimension::duration),
                                          unit_hint(amount.unit, Dimension::duration)));
      return std::nullopt;
    }
    const double seconds = amount.number * facts(*unit).scale;
    constexpr double kWithinRounding = 1e-6;  // s
    if (seconds <= kWithinRounding) {
      fault(amount.span(), fmt::format("'{}' needs a duration of 1 s or more, found {} {}", word,
                                       number, facts(*unit).symbol));
      return std::nullopt;
    }
    const auto longest_s = std::chrono::duration_cast<std::chrono::seconds>(longest).count();
    if (seconds > static_cast<double>(longest_s)) {
      fault(amount.span(), fmt::format("{} {} is too long; '{}' takes at most {}", number,
                                       facts(*unit).symbol, word, duration_text(longest)));
      return std::nullopt;
    }
    const double whole = std::round(seconds);
    if (std::abs(seconds - whole) > kWithinRounding) {
      fault(amount.span(),
            fmt::format("{} {} is not a whole number of seconds", number, facts(*unit).symbol));
      return std::nullopt;
    }
    return std::chrono::seconds(static_cast<std::int64_t>(whole));
  }

  Condition clause(const ParsedNode& node) {
    auto of = expression(node.of);
    if (!of) return nullptr;
    Clause clause;
    clause.of = std::move(*of);
    clause.comparison = node.comparison;
    const auto limit = amount(node.limit, clause.of);
    const bool between = node.comparison == Comparison::between;
    const auto upper = between ? amount(node.upper, clause.of) : limit;
    if (!limit || !upper) return nullptr;
    clause.limit = *limit;
    if (between) clause.upper = *upper;
    if (!can_be_met(clause, node)) return nullptr;
    Condition condition = make_condition(std::move(clause));
    clauses.emplace(condition.get(), node.span);
    return condition;
  }

  std::optional<Expression> expression(const ParsedExpression& parsed) {
    auto first = term(parsed.term);
    if (!parsed.minus) return first;
    const auto second = term(*parsed.minus);
    if (!first || !second) return std::nullopt;
    if (first->dimension == Dimension::duration) {
      fault(parsed.span, "differences of times are not watched; compare one of them");
      return std::nullopt;
    }
    if (first->dimension != second->dimension) {
      fault(parsed.span, fmt::format("'{}' and '{}' are not of one kind; only like quantities have "
                                     "a difference",
                                     to_text(*first), to_text(*second)));
      return std::nullopt;
    }
    if (first->term == second->term) {
      fault(parsed.span, fmt::format("'{0} minus {0}' is always 0; name another place with 'at'",
                                     to_text(*first)));
      return std::nullopt;
    }
    if (drifts(first->term) && drifts(second->term)) {
      fault(parsed.span,
            "a difference of two averages is not watched; compare one of them, or the average with "
            "the quantity itself");
      return std::nullopt;
    }
    first->minus = second->term;
    if (first->dimension == Dimension::temperature) {
      first->dimension = Dimension::temperature_difference;
    }
    return first;
  }

  std::optional<Expression> term(const ParsedTerm& parsed) {
    return parsed.window ? window(parsed) : quantity(parsed);
  }

  std::optional<Expression> window(const ParsedTerm& parsed) {
    if (in_window_) {
      fault(parsed.span,
            "a value over a time inside another; a value over a time is of quantities");
      return std::nullopt;
    }
    in_window_ = true;
    auto whole = window_of(parsed);
    in_window_ = false;
    return whole;
  }

  std::optional<Expression> window_of(const ParsedTerm& parsed) {
    const std::size_t faults_before = faults_.size();
    Window window;
    window.kind = *parsed.window;
    Dimension dimension = Dimension::duration;
    const bool is_time = window.kind == WindowKind::time_with;
    if (is_time) {
      const auto outer = std::move(clauses);
      window.with = check(*parsed.with);
      clauses = outer;  // what is inside is no comparison of the rule's own
    } else if (auto of = expression(*parsed.of)) {
      dimension = of->dimension;
      const bool rises = window.kind == WindowKind::rise && dimension == Dimension::temperature;
      if (rises) dimension = Dimension::temperature_difference;
      window.of = std::make_shared<const Expression>(std::move(*of));
    }
    const auto length = duration(parsed.length, is_time ? "within" : "over",
                                 is_time ? kLongestTimeWindow : kLongestWindow);
    const bool is_broken = is_time ? !window.with : !window.of;
    if (faults_.size() > faults_before || is_broken || !length) return std::nullopt;
    window.length = *length;
    Expression whole{window, std::nullopt, dimension};
    return looks_at_one_air(whole, parsed) ? std::optional(std::move(whole)) : std::nullopt;
  }

  // The engine keeps the past of airs, each for itself.
  bool looks_at_one_air(const Expression& whole, const ParsedTerm& parsed) {
    std::vector<QuantityAt> named;
    const auto& window = std::get<Window>(whole.term);
    if (window.of) gather_quantities(*window.of, named);
    if (window.with) gather_quantities(window.with, named);
    for (const QuantityAt& quantity : named) {
      if (find_rule_quantity(Scope::place, quantity.quantity) == nullptr) {
        fault(parsed.span,
              fmt::format("'{}' is not kept over a time; values over a time are of temperature, "
                          "humidity, dew point, absolute humidity or vapour pressure",
                          facts(quantity.quantity).name));
        return false;
      }
      if (quantity.place != named.front().place) {
        fault(parsed.span, fmt::format("'{}' looks at two places over a time; a value over a time "
                                       "is of one place",
                                       to_text(whole)));
        return false;
      }
    }
    return true;
  }

  static void gather_quantities(const Expression& of, std::vector<QuantityAt>& named) {
    named.push_back(std::get<QuantityAt>(of.term));
    if (of.minus) named.push_back(std::get<QuantityAt>(*of.minus));
  }

  static void gather_quantities(const Condition& condition, std::vector<QuantityAt>& named) {
    if (const auto* clause = std::get_if<Clause>(&condition->what)) {
      gather_quantities(clause->of, named);
    } else if (const auto* negation = std::get_if<Negation>(&condition->what)) {
      gather_quantities(negation->of, named);
    } else if (const auto* all = std::get_if<AllOf>(&condition->what)) {
      for (const Condition& part : all->parts) gather_quantities(part, named);
    } else {
      for (const Condition& part : std::get<AnyOf>(condition->what).parts) {
        gather_quantities(part, named);
      }
    }
  }

  static bool drifts(const Term& term) {
    const auto* window = std::get_if<Window>(&term);
    return window != nullptr && window->kind == WindowKind::average;
  }

  std::optional<Expression> quantity(const ParsedTerm& parsed) {
    const RuleQuantityFacts* row = find_rule_quantity(scope_, parsed.name);
    if (row == nullptr) {
      unknown_quantity(parsed);
      return std::nullopt;
    }
    if (!parsed.place.empty() && find_rule_quantity(Scope::place, row->quantity) == nullptr) {
      fault(parsed.span, fmt::format("'{}' belongs to {}, not to a place; leave out 'at {}'",
                                     row->name, scope_phrase(scope_), parsed.place));
      return std::nullopt;
    }
    return Expression{QuantityAt{row->quantity, parsed.place}, std::nullopt, row->dimension};
  }

  void unknown_quantity(const ParsedTerm& parsed) {
    for (const Scope other : {Scope::place, Scope::jar, Scope::sensor, Scope::service}) {
      if (other != scope_ && find_rule_quantity(other, parsed.name) != nullptr) {
        fault(parsed.name_span,
              fmt::format("'{}' belongs to {}, and this rule concerns {}, which has {}",
                          parsed.name, scope_phrase(other), scope_phrase(scope_), list_of(scope_)));
        return;
      }
    }
    std::vector<std::string_view> names;
    for (const RuleQuantityFacts& row : rule_quantities()) {
      if (row.scope == scope_) names.push_back(row.name);
    }
    const std::string_view near = near_word(parsed.name, names);
    const std::string hint = near.empty() ? "" : fmt::format("did you mean '{}'? ", near);
    std::string owner = scope_phrase(scope_);
    owner.front() = static_cast<char>(owner.front() - 'a' + 'A');
    fault(parsed.name_span,
          fmt::format("unknown quantity {}; {}{} has {}", quoted(parsed.name), hint,
                      hint.empty() ? scope_phrase(scope_) : owner, list_of(scope_)));
  }

  std::optional<WrittenAmount> amount(const ParsedAmount& parsed, const Expression& of) {
    const std::string what = to_text(of);
    const std::string number = number_only(parsed.number);
    if (of.dimension == Dimension::number) {
      if (parsed.unit.empty()) return WrittenAmount{parsed.number, RuleUnit::none};
      fault(parsed.unit_span, fmt::format("'{}' has no unit; write {} alone", what, number));
      return std::nullopt;
    }
    if (parsed.unit.empty()) {
      fault(parsed.number_span, fmt::format("{} has no unit; '{}' is written in {}", number, what,
                                            units_for(of.dimension)));
      return std::nullopt;
    }
    const auto unit = rule_unit_named(parsed.unit);
    if (!unit) {
      fault(parsed.unit_span,
            fmt::format("unknown unit {}; '{}' is written in {}{}", quoted(parsed.unit), what,
                        units_for(of.dimension), unit_hint(parsed.unit, of.dimension)));
      return std::nullopt;
    }
    if (!measures(*unit, of.dimension)) {
      fault(parsed.unit_span, wrong_unit(parsed.unit, *unit, of, what));
      return std::nullopt;
    }
    if (of.dimension != Dimension::duration) return WrittenAmount{parsed.number, *unit};
    return written_duration(std::chrono::seconds(
        static_cast<std::int64_t>(std::round(parsed.number * facts(*unit).scale))));
  }

  static std::string wrong_unit(std::string_view word, RuleUnit unit, const Expression& of,
                                const std::string& what) {
    if (of.dimension == Dimension::temperature_difference &&
        facts(unit).dimension == Dimension::temperature) {
      return fmt::format(
          "{} is for a temperature, and '{}' is a difference of temperatures; "
          "write it in K",
          word, what);
    }
    return fmt::format("{} does not measure '{}'; write {}", quoted(word), what,
                       units_for(of.dimension));
  }

  bool can_be_met(const Clause& clause, const ParsedNode& node) {
    const ValueRange range = range_of(clause.of);
    const double limit = to_canonical(clause.limit, clause.of.dimension);
    const auto outside = [&](double value) {
      return !(value >= range.lowest && value <= range.highest);
    };
    const auto refuse = [&](Span span, std::string_view why) {
      const auto symbol = canonical_symbol(clause.of.dimension);
      fault(span, fmt::format("'{} {}' {}: '{}' lies between {:.6g} and {:.6g}{}{}",
                              to_text(clause.of), limit_text(clause), why, to_text(clause.of),
                              range.lowest, range.highest, symbol.empty() ? "" : " ", symbol));
      return false;
    };
    if (outside(limit)) return refuse(node.limit.span(), "has an impossible limit");
    switch (clause.comparison) {
      case Comparison::above:
        return limit < range.highest || refuse(node.span, "can never be met");
      case Comparison::below:
        return limit > range.lowest || refuse(node.span, "can never be met");
      case Comparison::at_least:
        return limit > range.lowest || refuse(node.span, "is always met");
      case Comparison::at_most:
        return limit < range.highest || refuse(node.span, "is always met");
      case Comparison::between:
        break;
    }
    const double upper = to_canonical(clause.upper, clause.of.dimension);
    if (outside(upper)) return refuse(node.upper.span(), "has an impossible limit");
    if (upper <= limit) {
      fault(joined(node.limit.span(), node.upper.span()),
            fmt::format("'between' takes the lower amount first, found {} and {}",
                        to_text(clause.limit), to_text(clause.upper)));
      return false;
    }
    return true;
  }

  Scope scope_;
  std::vector<RuleFault>& faults_;
  bool in_window_ = false;
};

ValueRange range_of(const Term& term) {
  if (const auto* window = std::get_if<Window>(&term)) {
    if (window->kind == WindowKind::time_with) {
      return {0.0, std::chrono::duration<double>(window->length).count(), 0.0};
    }
    ValueRange range = range_of(*window->of);
    if (window->kind == WindowKind::rise) {
      const double span = range.highest - range.lowest;
      range.lowest = -span;
      range.highest = span;
    }
    return range;
  }
  const RuleQuantityFacts& row = facts(std::get<QuantityAt>(term).quantity);
  return {row.lowest, row.highest, row.margin};
}

}  // namespace

ValueRange range_of(const Expression& expression) {
  ValueRange range = range_of(expression.term);
  if (expression.minus) {
    const ValueRange other = range_of(*expression.minus);
    range = {range.lowest - other.highest, range.highest - other.lowest,
             std::max(range.margin, other.margin)};
  }
  return range;
}

CheckedCondition check_condition(const ParsedNode& parsed, Scope scope,
                                 std::vector<RuleFault>& faults) {
  const std::size_t before = faults.size();
  Checker checker(scope, faults);
  Condition condition = checker.check(parsed);
  if (faults.size() > before) condition = nullptr;
  return {std::move(condition), std::move(checker.clauses)};
}

}  // namespace torpor::rules
