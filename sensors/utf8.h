// UTF-8 (RFC 3629), read here only: is this text, what is the next character, where does it end and
// how many columns does it take. Not a text library.
#pragma once

#include <cstddef>
#include <string_view>

namespace torpor {

// Bytes of the character that `text` begins with: 1 to 4. 0: text is empty or does not begin with
// a well-formed character (overlong forms, surrogates and values past U+10FFFF are not).
[[nodiscard]] std::size_t utf8_character_length(std::string_view text);

struct Utf8Character {
  char32_t value = 0;  // of a byte that is not valid: the byte
  std::size_t length = 1;
  bool valid = false;  // false: the one byte is not the start of a well-formed character
};
// The character that begins at byte `at`. Precondition: at < text.size().
[[nodiscard]] Utf8Character utf8_character_at(std::string_view text, std::size_t at);

// Columns of a terminal: 0 for combining marks, 2 for the wide characters of East Asia and
// pictographs, else 1. The blocks that matter for names, from memory of Unicode's
// EastAsianWidth.txt, rounded to blocks; a character that is missing puts a table out of line by a
// column and does no other harm.
[[nodiscard]] int columns_of(char32_t character);

// Offset of the first byte that is not part of a well-formed character; npos: all of it is UTF-8.
[[nodiscard]] std::size_t find_not_utf8(std::string_view text);

}  // namespace torpor
