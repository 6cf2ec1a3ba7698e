// First stage of the rule language: text -> tokens. Words keep their spelling; what a word means is
// the parser's business.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace torpor::rules {

// Bytes of a field's text.
struct Span {
  std::size_t offset = 0;
  std::size_t length = 0;
  [[nodiscard]] std::size_t end() const { return offset + length; }
};

// From the start of `first` to the end of `last`.
[[nodiscard]] inline Span joined(Span first, Span last) {
  return {first.offset, last.end() - first.offset};
}

enum class TokenKind { word, number, open, close, symbol, end };

struct Token {
  TokenKind kind = TokenKind::end;
  Span span;
  std::string_view text;  // as written; views the source
  std::string lower;      // ASCII letters in lower case: keywords are read without case
  double number = 0.0;
  bool readable = true;  // false: starts like a number and is none ("2.5.1", "27,5", "1e3")
};

// Always ends in one token of kind end. The views last as long as `text`.
//
// A number is digits with at most one point and a sign directly before it; letters may follow at
// once ("27°C" is a number and a word). A minus sign (U+2212) counts as "-"; no-break spaces
// separate like spaces, for text that comes from a phone or a word processor. < > = ! , ; : are
// symbols: no part of the language, but worth a helpful answer.
[[nodiscard]] std::vector<Token> tokens_of(std::string_view text);

}  // namespace torpor::rules
