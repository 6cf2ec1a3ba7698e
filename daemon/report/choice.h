// Which jar to use, months later: jars ranked with their reasons. Pure: from the views that every
// report is made of to an order and its words. What is said of a jar is an estimate; nobody is told
// to eat, use or share anything but by nose, eyes and wake test.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "daemon/report/text.h"
#include "daemon/report/views.h"

namespace torpor::daemon {

struct ChoiceWish {
  std::string stage;          // empty: any
  std::optional<Grams> need;  // nullopt: whatever there is
};

// In the order they are shown. Published by name: do not rename.
enum class Advice {
  use,         // asleep and sound
  look_first,  // may be waking, or too little is known of its air
  test_first,  // old or harmed by heat: a wake test before use
  not_now,     // awake, settling, or found without life
  never,       // spoilt: keep it from food, do not use or share
};
[[nodiscard]] std::string_view advice_name(Advice advice);

// A jar as the choice sees it.
struct Candidate {
  JarView jar;
  std::optional<Grams> left;   // by what was told
  bool spoilt = false;         // coloured growth or a rotten smell was noted
  std::optional<bool> lively;  // its last wake test; nullopt: never tested
  std::optional<Instant> tested_at;
};
// `split_line`: Ledger::split_line() of the jar. What spoilt there before the split came over.
[[nodiscard]] Candidate candidate_of(const Jar& jar, std::span<const Jar> split_line, JarView view);

struct Choice {
  Candidate candidate;
  Advice advice = Advice::use;
  bool covers_need = true;
  std::vector<std::string> reasons;  // whole sentences, most important first
};

struct ChoiceView {
  ChoiceWish wish;
  Instant as_of;
  std::vector<Choice> ranked;         // retired jars and those of other stages are left out
  std::vector<std::string> together;  // jars that cover the need where none does alone
  std::string remark;                 // about the need, a sentence; empty: none
};
[[nodiscard]] ChoiceView rank_jars(std::vector<Candidate> candidates, ChoiceWish wish,
                                   Instant as_of);

[[nodiscard]] std::string choice_text(const ChoiceView& view, const TextContext& context);
[[nodiscard]] std::string choice_json(const ChoiceView& view);

}  // namespace torpor::daemon
