#include "sensors/utf8.h"

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
