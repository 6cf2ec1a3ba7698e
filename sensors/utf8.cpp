#include "sensors/utf8.h"

#include <algorithm>
#include <iterator>

namespace torpor {
namespace {

// The well-formed sequences, from the Unicode Standard, table 3-7: a lead byte decides the length
// and the range of the second byte; the rest are 80..BF.
struct LeadBytes {
  unsigned char first, last;
  std::size_t length;
  unsigned char second_first, second_last;
};
constexpr LeadBytes kLeadBytes[] = {
    {0x00, 0x7F, 1, 0x00, 0x00}, {0xC2, 0xDF, 2, 0x80, 0xBF}, {0xE0, 0xE0, 3, 0xA0, 0xBF},
    {0xE1, 0xEC, 3, 0x80, 0xBF}, {0xED, 0xED, 3, 0x80, 0x9F}, {0xEE, 0xEF, 3, 0x80, 0xBF},
    {0xF0, 0xF0, 4, 0x90, 0xBF}, {0xF1, 0xF3, 4, 0x80, 0xBF}, {0xF4, 0xF4, 4, 0x80, 0x8F},
};

bool between(char byte, unsigned char first, unsigned char last) {
  const auto value = static_cast<unsigned char>(byte);
  return value >= first && value <= last;
}

struct Span {
  char32_t first, last;
};
constexpr Span kCombining[] = {{0x0300, 0x036F}, {0x0591, 0x05BD}, {0x1AB0, 0x1AFF},
                               {0x1DC0, 0x1DFF}, {0x200B, 0x200F}, {0x20D0, 0x20FF},
                               {0xFE00, 0xFE0F}, {0xFE20, 0xFE2F}};
constexpr Span kWide[] = {{0x1100, 0x115F}, {0x2E80, 0xA4CF},   {0xAC00, 0xD7A3},
                          {0xF900, 0xFAFF}, {0xFE30, 0xFE6F},   {0xFF00, 0xFF60},
                          {0xFFE0, 0xFFE6}, {0x1F300, 0x1FAFF}, {0x20000, 0x3FFFD}};

}  // namespace

std::size_t utf8_character_length(std::string_view text) {
  if (text.empty()) return 0;
  for (const LeadBytes& row : kLeadBytes) {
    if (!between(text[0], row.first, row.last)) continue;
    if (text.size() < row.length) return 0;
    if (row.length > 1 && !between(text[1], row.second_first, row.second_last)) return 0;
    for (std::size_t i = 2; i < row.length; ++i) {
      if (!between(text[i], 0x80, 0xBF)) return 0;
    }
    return row.length;
  }
  return 0;
}

Utf8Character utf8_character_at(std::string_view text, std::size_t at) {
  const auto lead = static_cast<unsigned char>(text[at]);
  const std::size_t length = utf8_character_length(text.substr(at));
  if (length <= 1) return {lead, 1, length == 1};
  char32_t value = lead & (0x7FU >> length);
  for (std::size_t i = 1; i < length; ++i) {
    value = (value << 6) | (static_cast<unsigned char>(text[at + i]) & 0x3FU);
  }
  return {value, length, true};
}

int columns_of(char32_t character) {
  const auto holds = [character](const Span& span) {
    return character >= span.first && character <= span.last;
  };
  if (std::any_of(std::begin(kCombining), std::end(kCombining), holds)) return 0;
  return std::any_of(std::begin(kWide), std::end(kWide), holds) ? 2 : 1;
}

std::size_t find_not_utf8(std::string_view text) {
  std::size_t at = 0;
  while (at < text.size()) {
    const std::size_t length = utf8_character_length(text.substr(at));
    if (length == 0) return at;
    at += length;
  }
  return std::string_view::npos;
}

}  // namespace torpor
