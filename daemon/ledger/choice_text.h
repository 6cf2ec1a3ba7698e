// Reads one of the ledger's fixed words at a cursor. For the readers of sentences only.
#pragma once

#include <fmt/format.h>

#include <span>
#include <string>
#include <string_view>

#include <tl/expected.hpp>

#include "daemon/ledger/cursor.h"
#include "daemon/ledger/vocabulary.h"

namespace torpor::daemon {

// The word of the table that stands `ahead` tokens on, the longest if several do: "double kraft"
// before "double", whatever their order. nullptr: none does.
template <class Meaning>
[[nodiscard]] const Word<Meaning>* word_next(const Cursor& cursor,
                                             std::span<const Word<Meaning>> words,
                                             std::size_t ahead = 0) {
  const Word<Meaning>* longest = nullptr;
  for (const auto& word : words) {
    const bool longer = longest == nullptr || word.name.size() > longest->name.size();
    if (longer && cursor.matches(word.name, ahead) > 0) longest = &word;
  }
  return longest;
}

// Takes that word. Error: one clause that lists the words.
template <class Meaning>
tl::expected<Meaning, std::string> read_choice(Cursor& cursor, std::string_view what,
                                               std::span<const Word<Meaning>> words) {
  const Word<Meaning>* word = word_next(cursor, words);
  if (word == nullptr) {
    return tl::unexpected(
        fmt::format("{} {} is not one of {}", what, cursor.found(), choices(words)));
  }
  (void)cursor.take(word->name);
  return word->meaning;
}

}  // namespace torpor::daemon
