// Which jar to use, months later: jars ranked by their standing. Pure: from the views that every
// report is made of to an order; whether a jar may be used, and why not, is its standing's to say.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "daemon/report/text.h"
#include "daemon/report/views.h"

namespace torpor::daemon {

struct ChoiceWish {
  std::string stage;          // empty: any
  std::optional<Grams> need;  // nullopt: whatever there is
};

// A jar as the choice sees it.
struct Candidate {
  JarView jar;
  std::optional<Grams> left;  // by what was told
  std::optional<Instant> tested_at;
};
[[nodiscard]] Candidate candidate_of(const Jar& jar, JarView view);

struct Choice {
  Candidate candidate;
  bool covers_need = true;
  std::vector<std::string> reasons;  // whole sentences, most important first
  // Whether it may be used, as everything that shows the jar says.
  [[nodiscard]] rules::Use use() const { return candidate.jar.standing.use; }
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
