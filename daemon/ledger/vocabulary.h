// The fixed words of the ledger (vessels, covers, how rice was cooked, kinds of sugar): one table
// each, for sentences, journal and answers alike. Names are stored in the journal: do not change.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/ledger/sentence.h"

namespace torpor::daemon {

template <class Meaning>
struct Word {
  std::string_view name;  // one word, or several parted by blanks: "lid turned back"
  Meaning meaning;
};

[[nodiscard]] std::span<const Word<Vessel>> vessels();
[[nodiscard]] std::span<const Word<Cover>> covers();
[[nodiscard]] std::span<const Word<CookedWord>> cooked_words();
[[nodiscard]] std::span<const Word<SugarKind>> sugar_kinds();
// What a keeper can see or smell: the model's names first, then other words for the same.
[[nodiscard]] std::span<const Word<rules::culture::Sign>> signs();

template <class Meaning>
[[nodiscard]] std::optional<Meaning> meaning_of(std::span<const Word<Meaning>> words,
                                                std::string_view name) {
  for (const auto& word : words) {
    if (word.name == name) return word.meaning;
  }
  return std::nullopt;
}

// "glass, ceramic, clay or plastic".
template <class Meaning>
[[nodiscard]] std::string choices(std::span<const Word<Meaning>> words) {
  std::string text;
  for (std::size_t i = 0; i < words.size(); ++i) {
    if (i > 0) text += i + 1 == words.size() ? " or " : ", ";
    text += words[i].name;
  }
  return text;
}

// "bubbling, sweet smell".
[[nodiscard]] std::string sign_names(const std::vector<rules::culture::Sign>& signs);

// True for the words that sentences are made of: no jar may be called so, or `ask jars` and
// `move bubbling` would mean two things.
[[nodiscard]] bool is_reserved_word(std::string_view word);

}  // namespace torpor::daemon
