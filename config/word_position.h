// From an offset in a YAML word's value back to the byte of the file that made it: through folded
// lines, block indentation and doubled single quotes, so that a fault in a rule's sentence gets its
// caret. Not a YAML parser: it follows a value that yaml-cpp has read already.
#pragma once

#include <cstddef>
#include <optional>
#include <string_view>

namespace torpor::config {

// `at` is where the word begins in `text`: at its first letter, its quote, or its | or >.
// nullopt: an escape in double quotes or an unusual folding stands before the offset; the caller
// falls back to `at`.
[[nodiscard]] std::optional<std::size_t> position_in_word(std::string_view text, std::size_t at,
                                                          std::string_view value,
                                                          std::size_t offset);

}  // namespace torpor::config
