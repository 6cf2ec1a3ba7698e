#include "rules/book/rule.h"

#include <algorithm>
#include <array>
#include <map>
#include <utility>

#include <fmt/core.h>

#include "rules/book/checker.h"
#include "rules/book/ease.h"
#include "rules/book/near_word.h"
#include "rules/book/parsed_condition.h"
#include "sensors/trimmed.h"

namespace torpor::rules {
namespace {

// Names stand in topics, notices and tables.
constexpr std::size_t kLongestName = 48;
// A notice has room for a sentence; an explanation longer than this belongs in a document.
constexpr std::size_t kLongestWhy = 400;

// In the order of the enum.
constexpr RemedyFacts kRemedies[] = {
    {Remedy::add_sugar, "add-sugar",
     "Add sugar with a dry clean spoon, on top or stirred in; never stir a gassing jar that has no "
     "headspace."},
    {Remedy::move, "move",
     "Move the jars to a cooler, drier place, and let them cool slowly under a cover that "
     "breathes."},
    {Remedy::vent, "vent", "Air the room while the air outside is drier than the air inside.",
     true},
    {Remedy::keep_room_shut, "keep-room-shut",
     "Keep the room shut while the air outside is damper than the air inside.", true},
    {Remedy::dry_air, "dry-air",
     "Dry the room's air, and empty the dryer's tank before it is full.", true},
    {Remedy::ease_lid, "ease-lid",
     "Ease the lid slowly, face and eyes away and a cloth over it: a working jar can burst."},
    {Remedy::renew_cover, "renew-cover", "Put a fresh dry paper cover on."},
    {Remedy::shade, "shade", "Shade the jars from sun and from anything warm.", true},
    {Remedy::look, "look", "Look at the jars, and do not taste: they are not food."},
    {Remedy::wake_test, "wake-test", "Wake a spoonful apart before you trust the jar."},
    {Remedy::use_first, "use-first", "Use these jars first."},
    {Remedy::check_sensor, "check-sensor",
     "Check the sensor: power, battery, radio, and that it hangs where it is configured."},
    {Remedy::check_board, "check-board",
     "Look at the board: power, network, the broker, free disk space and its clock."},
    {Remedy::change_battery, "change-battery",
     "Change its battery, and see that it speaks again: `torpor sensors` says when it last did."},
    {Remedy::carry_out, "carry-out",
     "Keep the jar from food, close it, carry it out and wash your hands; do not sniff or scrape "
     "it."},
    {Remedy::renew_vessel, "renew-vessel",
     "Put what is surely free of glass into a whole dry vessel; wear gloves and glasses."},
};
static_assert(
    [] {
      if (std::size(kRemedies) != static_cast<std::size_t>(kLastRemedy) + 1) return false;
      for (std::size_t i = 0; i < std::size(kRemedies); ++i) {
        if (static_cast<std::size_t>(kRemedies[i].remedy) != i) return false;
      }
      return true;
    }(),
    "each remedy has one row, in the order of the enum");

constexpr std::array<std::string_view, 3> kUrgencies{"now", "today", "this-week"};
constexpr std::array<std::string_view, 4> kScopes{"place", "jar", "sensor", "service"};

// YAML's folded texts end in a line break; that is no part of what was said.
constexpr std::string_view kBlanksOfText = " \t\n\v\f\r";

std::string list_of(std::span<const std::string_view> words) {
  std::string text;
  for (std::size_t i = 0; i < words.size(); ++i) {
    if (i > 0) text += i + 1 == words.size() ? " or " : ", ";
    text += words[i];
  }
  return text;
}

class RuleChecker {
 public:
  explicit RuleChecker(const RuleText& text) : text_(text) {}

  tl::expected<Rule, std::vector<RuleFault>> check() {
    Rule rule;
    rule.name = name();
    const auto scope = one_of(RuleField::concerns, text_.concerns, kScopes);
    const auto urgency = one_of(RuleField::urgency, text_.urgency, kUrgencies);
    if (scope) rule.concerns = static_cast<Scope>(*scope);
    if (urgency) rule.urgency = static_cast<Urgency>(*urgency);
    conditions(scope ? std::optional(rule.concerns) : std::nullopt, rule);
    rule.why = why();
    rule.remedies = remedies();
    rule.explains = explains();
    if (!faults_.empty()) return tl::unexpected(std::move(faults_));
    return rule;
  }

 private:
  void fault(RuleField field, std::size_t offset, std::size_t length, std::string message) {
    faults_.push_back({field, 0, offset, length, std::move(message)});
  }

  std::string name() {
    const std::string& name = text_.name;
    if (name.empty()) {
      fault(RuleField::name, 0, 0, "a rule needs a name, such as warm-shelf");
      return {};
    }
    const auto allowed = [](char c) {
      return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
             c == '-' || c == '_';
    };
    const auto bad = std::find_if_not(name.begin(), name.end(), allowed);
    if (bad != name.end()) {
      fault(RuleField::name, static_cast<std::size_t>(bad - name.begin()), 1,
            fmt::format("the name {} may hold letters, digits, '-' and '_' only", quoted(name)));
    } else if (name.size() > kLongestName) {
      fault(RuleField::name, 0, name.size(),
            fmt::format("a name of {} letters; at most {} are allowed", name.size(), kLongestName));
    }
    return name;
  }

  template <std::size_t N>
  std::optional<std::size_t> one_of(RuleField field, const std::string& word,
                                    const std::array<std::string_view, N>& words) {
    const auto found = std::find(words.begin(), words.end(), word);
    if (found != words.end()) return static_cast<std::size_t>(found - words.begin());
    const std::string_view near = near_word(word, words);
    const std::string_view key = field == RuleField::concerns ? "concerns" : "urgency";
    fault(field, 0, word.size(),
          word.empty()
              ? fmt::format("'{}' is missing; write {}", key, list_of(words))
              : fmt::format("found {}, expected {}{}", quoted(word), list_of(words),
                            near.empty() ? "" : fmt::format("; did you mean '{}'?", near)));
    return std::nullopt;
  }

  void conditions(std::optional<Scope> scope, Rule& rule) {
    const CheckedCondition when = condition(RuleField::when, text_.when, scope);
    if (trimmed(text_.until, kBlanksOfText).empty()) {
      rule.when = when.condition;
      return;
    }
    const CheckedCondition until = condition(RuleField::until, text_.until, scope);
    if (when.condition && until.condition) {
      for (RuleFault& clash : chatter_faults(when, until)) faults_.push_back(std::move(clash));
    }
    rule.when = when.condition;
    rule.until = until.condition;
  }

  CheckedCondition condition(RuleField field, const std::string& text, std::optional<Scope> scope) {
    std::vector<RuleFault> found;
    CheckedCondition checked;
    if (trimmed(text, kBlanksOfText).empty()) {
      found.push_back({field, 0, 0, 0,
                       "'when' is missing; write a condition such as temperature above 27 °C "
                       "lasting 2 h"});
    } else {
      const ParsedNode parsed = parse_condition(text, found);
      // Without a scope, what its quantities would be cannot be said.
      if (scope) checked = check_condition(parsed, *scope, found);
    }
    std::stable_sort(found.begin(), found.end(),
                     [](const auto& a, const auto& b) { return a.offset < b.offset; });
    if (!found.empty()) checked.condition = nullptr;
    for (RuleFault& each : found) {
      each.field = field;
      faults_.push_back(std::move(each));
    }
    return checked;
  }

  std::string why() {
    const std::string_view why = trimmed(text_.why, kBlanksOfText);
    if (why.empty()) {
      fault(RuleField::why, 0, 0, "'why' is missing; say in a sentence what the alert is for");
    } else if (why.size() > kLongestWhy) {
      fault(RuleField::why, 0, text_.why.size(),
            fmt::format("'why' has {} bytes; at most {} fit a notice", why.size(), kLongestWhy));
    }
    std::string line(why);
    std::replace_if(
        line.begin(), line.end(), [](char c) { return static_cast<unsigned char>(c) < 0x20U; },
        ' ');
    return line;
  }

  std::vector<Remedy> remedies() {
    std::vector<Remedy> remedies;
    std::vector<std::string_view> names;
    names.reserve(std::size(kRemedies));
    for (const RemedyFacts& row : kRemedies) names.push_back(row.name);
    for (std::size_t i = 0; i < text_.remedies.size(); ++i) {
      const std::string& word = text_.remedies[i];
      const auto remedy = remedy_named(word);
      std::string problem;
      if (!remedy) {
        const std::string_view near = near_word(word, names);
        problem = fmt::format("unknown remedy {}; {}known are {}", quoted(word),
                              near.empty() ? "" : fmt::format("did you mean '{}'? ", near),
                              list_of(names));
      } else if (std::find(remedies.begin(), remedies.end(), *remedy) == remedies.end()) {
        remedies.push_back(*remedy);
      } else {
        problem = fmt::format("remedy '{}' is there twice; leave one out", word);
      }
      if (!problem.empty()) {
        faults_.push_back({RuleField::remedies, i, 0, word.size(), std::move(problem)});
      }
    }
    return remedies;
  }

  std::vector<std::string> explains() {
    std::vector<std::string> names;
    for (std::size_t i = 0; i < text_.explains.size(); ++i) {
      const std::string& word = text_.explains[i];
      std::string problem;
      if (word == text_.name) {
        problem = "a rule cannot explain itself; leave it out";
      } else if (std::find(names.begin(), names.end(), word) != names.end()) {
        problem = fmt::format("rule {} is there twice; leave one out", quoted(word));
      } else {
        names.push_back(word);
      }
      if (!problem.empty()) {
        faults_.push_back({RuleField::explains, i, 0, word.size(), std::move(problem)});
      }
    }
    return names;
  }

  const RuleText& text_;
  std::vector<RuleFault> faults_;
};

}  // namespace

std::string_view urgency_name(Urgency urgency) {
  return kUrgencies[static_cast<std::size_t>(urgency)];
}

std::span<const RemedyFacts> remedies() { return kRemedies; }

const RemedyFacts& facts(Remedy remedy) { return kRemedies[static_cast<std::size_t>(remedy)]; }

std::string_view remedy_name(Remedy remedy) { return facts(remedy).name; }

std::optional<Remedy> remedy_named(std::string_view name) {
  for (const RemedyFacts& row : kRemedies) {
    if (row.name == name) return row.remedy;
  }
  return std::nullopt;
}

std::string_view remedy_sentence(Remedy remedy) { return facts(remedy).sentence; }

tl::expected<Rule, std::vector<RuleFault>> check_rule(const RuleText& text) {
  return RuleChecker(text).check();
}

}  // namespace torpor::rules
