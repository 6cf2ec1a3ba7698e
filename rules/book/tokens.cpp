#include "rules/book/tokens.h"

#include <charconv>

namespace torpor::rules {
namespace {

constexpr std::string_view kMinusSign = "\xE2\x88\x92";
constexpr std::string_view kNoBreakSpaces[] = {"\xC2\xA0", "\xE2\x80\xAF"};
constexpr std::string_view kSymbols = "<>=!,;:";

bool is_digit(char c) { return c >= '0' && c <= '9'; }

// Bytes of white space at the start of `rest`; 0: none.
std::size_t space_length(std::string_view rest) {
  if (rest.empty()) return 0;
  if (rest.front() == ' ' || (rest.front() >= '\t' && rest.front() <= '\r')) return 1;
  for (const std::string_view space : kNoBreakSpaces) {
    if (rest.substr(0, space.size()) == space) return space.size();
  }
  return 0;
}

// Bytes of a sign at the start of `rest`, 0: none.
std::size_t sign_length(std::string_view rest) {
  if (rest.empty()) return 0;
  if (rest.front() == '-' || rest.front() == '+') return 1;
  return rest.substr(0, kMinusSign.size()) == kMinusSign ? kMinusSign.size() : 0;
}

bool starts_number(std::string_view rest) {
  rest.remove_prefix(sign_length(rest));
  if (!rest.empty() && rest.front() == '.') rest.remove_prefix(1);
  return !rest.empty() && is_digit(rest.front());
}

// A comma inside digits is taken into the number, so that "27,5" is one mistake.
Token number_token(std::string_view text, std::size_t offset) {
  const std::size_t sign = sign_length(text.substr(offset));
  const bool negative = sign > 0 && text[offset] != '+';
  const std::size_t digits_at = offset + sign;
  std::size_t end = digits_at;
  while (end < text.size() &&
         (is_digit(text[end]) || text[end] == '.' ||
          (text[end] == ',' && end + 1 < text.size() && is_digit(text[end + 1])))) {
    ++end;
  }
  // An exponent is read as part of the number, to be refused as one.
  if (end + 1 < text.size() && (text[end] == 'e' || text[end] == 'E') &&
      starts_number(text.substr(end + 1))) {
    end += 1 + sign_length(text.substr(end + 1));
    while (end < text.size() && is_digit(text[end])) ++end;
  }
  Token token{TokenKind::number, {offset, end - offset}, text.substr(offset, end - offset), {}};
  const auto parsed = std::from_chars(text.data() + digits_at, text.data() + end, token.number,
                                      std::chars_format::fixed);
  token.readable = parsed.ec == std::errc() && parsed.ptr == text.data() + end;
  if (negative) token.number = -token.number;
  return token;
}

Token word_token(std::string_view text, std::size_t offset) {
  std::size_t end = offset;
  while (end < text.size() && space_length(text.substr(end)) == 0 && text[end] != '(' &&
         text[end] != ')' && kSymbols.find(text[end]) == std::string_view::npos) {
    ++end;
  }
  Token token{TokenKind::word, {offset, end - offset}, text.substr(offset, end - offset), {}};
  token.lower = std::string(token.text);
  for (char& c : token.lower) {
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  }
  return token;
}

Token symbol_token(std::string_view text, std::size_t offset) {
  std::size_t end = offset;
  while (end < text.size() && kSymbols.find(text[end]) != std::string_view::npos) ++end;
  return {TokenKind::symbol, {offset, end - offset}, text.substr(offset, end - offset), {}};
}

}  // namespace

std::vector<Token> tokens_of(std::string_view text) {
  std::vector<Token> tokens;
  std::size_t at = 0;
  while (true) {
    while (at < text.size() && space_length(text.substr(at)) > 0) {
      at += space_length(text.substr(at));
    }
    if (at == text.size()) break;
    const char c = text[at];
    if (c == '(' || c == ')') {
      const TokenKind kind = c == '(' ? TokenKind::open : TokenKind::close;
      tokens.push_back({kind, {at, 1}, text.substr(at, 1), {}});
    } else if (starts_number(text.substr(at))) {
      tokens.push_back(number_token(text, at));
    } else if (kSymbols.find(c) != std::string_view::npos) {
      tokens.push_back(symbol_token(text, at));
    } else {
      tokens.push_back(word_token(text, at));
    }
    at = tokens.back().span.end();
  }
  tokens.push_back({TokenKind::end, {text.size(), 0}, {}, {}});
  return tokens;
}

}  // namespace torpor::rules
