// The standing of a jar: whether it may be used, what is to be done with it first and why. Worked
// out here and nowhere else, from the jar's model, from what spoiled it and from the alerts that
// concern it; notice, alert, answer, command, page and topic read it and add nothing of their own.
// Pure.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "rules/culture/sign.h"
#include "rules/culture/verdict.h"
#include "rules/standing/advice_value.h"

namespace torpor::rules {

// Whether a jar may be used. In this order: each asks for more than the one before it. Published by
// name: do not rename.
enum class Use { yes, look_first, wake_test_first, no };
[[nodiscard]] std::string_view use_name(Use use);  // "yes" "look first" "wake test first" "no"
[[nodiscard]] std::optional<Use> use_named(std::string_view name);

// What made a jar unfit for use, for good: nothing that is seen or tested later takes it back, only
// the withdrawal of the entry that told it.
struct Spoilage {
  Instant at;  // when the sign was seen
  culture::Sign sign = culture::Sign::rotten_smell;
  std::string jar;          // in which it was seen: itself, or one of its line
  std::uint64_t entry = 0;  // of the journal
  friend bool operator==(const Spoilage&, const Spoilage&) = default;
};
// "Green growth was seen in it (entry 12)."
[[nodiscard]] std::string spoilage_words(const Spoilage& spoilage, std::string_view jar);

// An alert that stands and concerns the jar, as its standing sees it.
struct StandingAlert {
  std::uint64_t number = 0;
  Urgency urgency = Urgency::this_week;
  bool of_jar = false;   // about the jar itself; else about a place that lists it
  bool put_off = false;  // deferred by a person
  std::string place;     // where it stands, of one about a place
  std::string reason;    // one plain sentence: why something is to be done
  std::vector<Advice> deeds;
};
// Whose deed goes first: the more urgent, then the one that can hurt somebody, then the jar's own,
// then the older. What was put off comes after what was not.
[[nodiscard]] bool leads(const StandingAlert& a, const StandingAlert& b);

struct NextDate {
  Instant at;
  std::string what;  // "it has settled": what is so by then
  friend bool operator==(const NextDate&, const NextDate&) = default;
};

struct Standing {
  std::string jar, place;  // place: where it is kept; empty: nowhere, or retired
  Instant as_of;
  culture::State state = culture::State::unwatched;
  Use use = Use::look_first;
  std::optional<Urgency> urgency;    // of `deed`; nullopt: whenever it is to be used
  std::uint64_t alert = 0;           // that `deed` comes from; 0: none
  std::string why;                   // one sentence
  std::vector<std::string> reasons;  // what else there is to know, most important first
  std::optional<Advice> deed, next;  // nullopt: nothing is to be done
  std::optional<NextDate> next_date;
  // From as_of on: cautious (soonest), likely, hopeful.
  std::array<culture::WakeTime, culture::kMembers> time_to_wake{};
  double coverage_percent = 0.0;  // of its time since closing up to as_of has trusted air
  bool recomputing = false;       // its model is being worked out anew: figures may change
  friend bool operator==(const Standing&, const Standing&) = default;
};

struct StandingScene {
  std::string_view jar, place;
  const culture::Verdict* verdict = nullptr;  // at `as_of`
  Instant as_of;
  std::optional<Spoilage> spoilage;
  bool gas_tight = false;  // its cover holds gas
  bool recomputing = false;
  std::span<const StandingAlert> alerts;  // in any order
};
[[nodiscard]] Standing standing_of(const StandingScene& scene);

// What is to be done with a spoiled jar, and nothing else is: keep it from food, close it, carry it
// out, wash hands, retire it. Where gas may be under its lid, the lid first.
[[nodiscard]] std::vector<Advice> spoiled_deeds(std::string_view jar, bool gas_under_lid,
                                                const Spoilage& spoilage);
// The lid of a jar that may be making gas, before anything else.
[[nodiscard]] Advice ease_lid_deed(std::string_view jar);
// True for a jar whose culture may be at work: settling, waking, due or awake.
[[nodiscard]] bool may_make_gas(const culture::Verdict& verdict);
// Under a lid that holds gas: of a jar that may be working the lid comes first, and whatever opens
// another one carries the lid's caution.
void heed_lid(std::vector<Advice>& deeds, std::string_view jar, bool may_make_gas);
// A cracked vessel: gloves, a tray, nothing that may have glass in it.
[[nodiscard]] Advice cracked_deed(std::string_view jar);
// "Look at B-07 and smell it ...", "Test a spoonful of B-07 ...".
[[nodiscard]] Advice look_deed(std::string_view jar);
[[nodiscard]] Advice wake_test_deed(std::string_view jar);

// The jar's one line: "K3 (pantry): look first. Today: stir in ... It was mixed too thin."
[[nodiscard]] std::string standing_line(const Standing& standing);
// The same without the deed: "dormant, use: yes".
[[nodiscard]] std::string standing_brief(const Standing& standing);
// "Now", "Today", "This week".
[[nodiscard]] std::string_view urgency_words(Urgency urgency);

}  // namespace torpor::rules
