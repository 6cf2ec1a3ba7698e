#include "rules/book/rule_quantity.h"

#include "rules/book/rule_quantity_rows.h"

namespace torpor::rules {
namespace {

// By quantity, for it is asked for with every look of a rule.
constexpr auto kSources = [] {
  std::array<Source, kRuleQuantityRows.size()> sources{};
  for (const RuleQuantityFacts& row : kRuleQuantityRows) {
    sources[static_cast<std::size_t>(row.quantity)] = row.source;
  }
  return sources;
}();

}  // namespace

std::span<const RuleQuantityFacts> rule_quantities() { return kRuleQuantityRows; }

const RuleQuantityFacts* find_rule_quantity(Scope scope, RuleQuantity quantity) {
  for (const RuleQuantityFacts& row : kRuleQuantityRows) {
    if (row.scope == scope && row.quantity == quantity) return &row;
  }
  return nullptr;
}

const RuleQuantityFacts* find_rule_quantity(Scope scope, std::string_view name) {
  for (const RuleQuantityFacts& row : kRuleQuantityRows) {
    if (row.scope == scope && row.name == name) return &row;
  }
  return nullptr;
}

const RuleQuantityFacts& facts(RuleQuantity quantity) {
  const RuleQuantityFacts* found = &kRuleQuantityRows.front();
  for (const RuleQuantityFacts& row : kRuleQuantityRows) {
    if (row.quantity == quantity) {
      found = &row;
      break;
    }
  }
  return *found;
}

Source source_of(RuleQuantity quantity) { return kSources[static_cast<std::size_t>(quantity)]; }

std::string_view scope_name(Scope scope) {
  switch (scope) {
    case Scope::place:
      return "place";
    case Scope::jar:
      return "jar";
    case Scope::sensor:
      return "sensor";
    case Scope::service:
      return "service";
  }
  return "";
}

}  // namespace torpor::rules
