// A rule as a person wrote it, and the same rule checked. Two types on purpose: only check_rule()
// makes a Rule, so whatever runs has been checked. No YAML here: config reads the file and maps
// each fault's field and offset to line and column.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "rules/book/condition.h"

namespace torpor::rules {

enum class Urgency { now, today, this_week };                  // how soon a person must act
[[nodiscard]] std::string_view urgency_name(Urgency urgency);  // "now" "today" "this-week"

// What a keeper can do. Names in rule books by remedy_name(): "add-sugar", "move", ...
enum class Remedy {
  add_sugar,
  move,
  vent,
  keep_room_shut,
  dry_air,
  ease_lid,
  renew_cover,
  shade,
  look,
  wake_test,
  use_first,
  check_sensor,
  check_board,
  change_battery,
  carry_out,
  renew_vessel,
};
inline constexpr Remedy kLastRemedy = Remedy::renew_vessel;

struct RemedyFacts {
  Remedy remedy;
  std::string_view name;      // stable: rule books, topics and snapshots hold it
  std::string_view sentence;  // to a person, with its caution where it can hurt; without amounts
  bool of_room = false;       // of use where no jar is
};
[[nodiscard]] std::span<const RemedyFacts> remedies();  // one row a remedy
[[nodiscard]] const RemedyFacts& facts(Remedy remedy);
[[nodiscard]] std::string_view remedy_name(Remedy remedy);
[[nodiscard]] std::optional<Remedy> remedy_named(std::string_view name);
[[nodiscard]] std::string_view remedy_sentence(Remedy remedy);

// A rule's fields as written in the book.
struct RuleText {
  std::string name;
  std::string concerns;
  std::string when;
  std::string until;  // empty: the default ease condition (design: known false for 10 min with
                      // the quantity's margin)
  std::string urgency;
  std::string why;
  std::vector<std::string> remedies;
  std::vector<std::string> explains = {};
};

enum class RuleField { name, concerns, when, until, urgency, why, remedies, explains };

// A mistake in a rule: where (field, byte offset and length in that field's text), and one message
// that says what was found, what was expected and the nearest known word.
struct RuleFault {
  RuleField field = RuleField::when;
  std::size_t item = 0;  // which one, when field is remedies or explains
  std::size_t offset = 0;
  std::size_t length = 0;
  std::string message;
};

struct Rule {
  std::string name;
  Scope concerns = Scope::place;
  Condition when;
  std::optional<Condition> until;
  Urgency urgency = Urgency::this_week;
  std::string why;
  std::vector<Remedy> remedies;
  // Names of jar rules whose alerts of the same jar, or of a jar that an alert of this rule lists,
  // are symptoms of this one: they stand in it and raise none of their own. Whether there are such
  // rules is the book's matter, not this rule's.
  std::vector<std::string> explains;
};

// Checks everything about one rule and reports all faults at once.
[[nodiscard]] tl::expected<Rule, std::vector<RuleFault>> check_rule(const RuleText& text);

// Rules in the order of their books. Names are unique; config refuses a second one.
using RuleBook = std::vector<Rule>;

}  // namespace torpor::rules
