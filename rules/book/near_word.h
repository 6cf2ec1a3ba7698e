// The known word that a mistyped one was probably meant to be.
#pragma once

#include <span>
#include <string_view>

namespace torpor::rules {

// Nearest of `known` by edit distance, adjacent swaps counting one; empty when even the nearest is
// more than a slip of the keyboard away: over one edit in three letters, or over three edits.
[[nodiscard]] std::string_view near_word(std::string_view word,
                                         std::span<const std::string_view> known);

}  // namespace torpor::rules
