// A tell sentence's text as words, quoted texts and commas. Knows the bytes and typography of what
// phones send, nothing of the grammar.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

namespace torpor::daemon {

struct Token {
  enum class Kind { word, quoted, comma };
  Kind kind = Kind::word;
  std::string text;  // word: typographic dashes written as '-'; quoted: without its quotes
  friend bool operator==(const Token&, const Token&) = default;
};

// Blanks (also no-break ones) part words; "...", typographic double quotes and guillemets quote; a
// comma between two digits belongs to the number. White space and line ends around the sentence and
// one full stop at its end are dropped. Error, one clause: not UTF-8, control or direction-changing
// characters inside, a quote that is not closed.
[[nodiscard]] tl::expected<std::vector<Token>, std::string> split_sentence(std::string_view text);

// ASCII digits, whatever the locale.
[[nodiscard]] inline bool is_digit(char c) { return c >= '0' && c <= '9'; }
// ASCII letters in lower case, all else as it is.
[[nodiscard]] std::string lower_case(std::string_view text);
// Equal but for the case of ASCII letters.
[[nodiscard]] bool same_word(std::string_view a, std::string_view b);

// True for code points that a line of plain text must not hold: controls, line and paragraph
// separators, and those that turn the direction of text around what follows.
[[nodiscard]] bool is_control(char32_t point);

// Reads the code point at `position` and moves past it. U+FFFFFFFF, one byte on: not UTF-8.
[[nodiscard]] char32_t next_code_point(std::string_view text, std::size_t& position);
inline constexpr char32_t kNotUtf8 = 0xFFFFFFFF;

}  // namespace torpor::daemon
