// What placing and printing a fault needs to know of text: characters, not bytes, the cells a
// terminal gives them, and excerpts that are safe to print. Not a text library.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace torpor::config {

struct CodePoint {
  char32_t value = 0;
  std::size_t length = 1;  // bytes
};

// The character that starts at byte `at`. Precondition: at < text.size(), text is valid UTF-8
// (on other text it still ends within it and advances by at least one byte).
[[nodiscard]] CodePoint code_point_at(std::string_view text, std::size_t at);

// Characters in valid UTF-8.
[[nodiscard]] std::size_t characters(std::string_view text);

// Terminal cells: 0 for combining marks, 2 for the wide characters of East Asia and pictographs,
// else 1. Ranges from memory of Unicode's EastAsianWidth.txt, rounded to blocks.
[[nodiscard]] int cells(char32_t c);

// What a person wrote, safe in a message: control characters as `?`, at most 40 characters and
// `...` when cut.
[[nodiscard]] std::string shown(std::string_view text);
// The same in backticks.
[[nodiscard]] std::string quoted(std::string_view text);
// True if a value holds a control character, line breaks and tabs included.
[[nodiscard]] bool has_control_character(std::string_view text);

}  // namespace torpor::config
