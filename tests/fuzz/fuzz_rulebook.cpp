// Any bytes as a rule book: faults point into the file, and a condition that was understood,
// printed and read again means the same.
#include <cstdint>
#include <set>
#include <string>

#include "config/rulebook.h"
#include "sensors/utf8.h"
#include "tests/fuzz/checks.h"
#include "tests/fuzz/fault_checks.h"

namespace torpor::fuzz {
namespace {

std::string_view scope_word(rules::Scope scope) {
  switch (scope) {
    case rules::Scope::place:
      return "place";
    case rules::Scope::jar:
      return "jar";
    case rules::Scope::sensor:
      return "sensor";
    case rules::Scope::service:
      return "service";
  }
  return "";
}

// A rule written anew from what was understood of it.
void check_rule_reads_back(const rules::Rule& rule) {
  rules::RuleText text;
  text.name = rule.name;
  text.concerns = scope_word(rule.concerns);
  text.when = to_text(rule.when);
  if (rule.until) text.until = to_text(*rule.until);
  text.urgency = urgency_name(rule.urgency);
  text.why = rule.why;
  for (const rules::Remedy remedy : rule.remedies) text.remedies.emplace_back(remedy_name(remedy));
  text.explains = rule.explains;

  const auto again = check_rule(text);
  if (!again)
    require(false, "a printed condition reads back: " + text.when + " / " + text.until + ": " +
                       again.error().front().message);
  require(to_text(again->when) == text.when, "a printed condition means the same");
  require(again->until.has_value() == rule.until.has_value(), "an end stays an end");
  if (rule.until) require(to_text(*again->until) == text.until, "a printed end means the same");
  require(again->remedies == rule.remedies, "the remedies are the same");
  require(again->explains == rule.explains, "what it explains is the same");
}

void check_condition(std::string_view condition, rules::Scope scope) {
  rules::RuleText text;
  text.name = "rule";
  text.concerns = scope_word(scope);
  text.when = condition;
  text.until = condition;
  text.urgency = "today";
  text.why = "Why.";
  text.remedies = {"look"};
  const auto rule = check_rule(text);
  if (rule) return check_rule_reads_back(*rule);
  require(!rule.error().empty(), "what is refused has a fault");
  for (const rules::RuleFault& fault : rule.error()) {
    require_message(fault.message, 4000);
    require(fault.offset <= condition.size(), "a fault begins in the text");
    require(fault.length <= condition.size() - fault.offset, "a fault ends in the text");
  }
}

void check_book(std::string_view text) {
  const config::RuleBookResult result = config::read_rulebook(text, "input.yaml");
  for (const config::Fault& fault : result.faults) require_fault(fault, text);
  if (!result.faults.empty()) return;
  std::set<std::string> names;
  for (const rules::Rule& rule : result.rules) {
    require(!rule.name.empty() && names.insert(rule.name).second, "a name is its rule's own");
    check_rule_reads_back(rule);
  }
}

}  // namespace
}  // namespace torpor::fuzz

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using torpor::rules::Scope;
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  torpor::fuzz::check_book(text);
  // The reader of books lets no other text through to the rules.
  if (torpor::find_not_utf8(text) != std::string_view::npos) return 0;
  for (const Scope scope : {Scope::place, Scope::jar, Scope::sensor, Scope::service}) {
    torpor::fuzz::check_condition(text, scope);
  }
  return 0;
}
