#include "config/shown_text.h"

#include <algorithm>

#include "sensors/utf8.h"

namespace torpor::config {
namespace {

constexpr std::size_t kLongestQuote = 40;

bool is_continuation(char c) { return (static_cast<unsigned char>(c) & 0xC0) == 0x80; }

// C0, DEL, C1 and the line and paragraph separators.
bool is_control(char32_t c) {
  return c < 0x20 || (c >= 0x7F && c <= 0x9F) || c == 0x2028 || c == 0x2029;
}

struct Range {
  char32_t first, last;
};
constexpr Range kCombining[] = {{0x0300, 0x036F}, {0x1AB0, 0x1AFF}, {0x1DC0, 0x1DFF},
                                {0x200B, 0x200F}, {0x20D0, 0x20FF}, {0xFE00, 0xFE0F},
                                {0xFE20, 0xFE2F}};
constexpr Range kWide[] = {{0x1100, 0x115F}, {0x2E80, 0xA4CF},   {0xAC00, 0xD7A3},
                           {0xF900, 0xFAFF}, {0xFE30, 0xFE6F},   {0xFF00, 0xFF60},
                           {0xFFE0, 0xFFE6}, {0x1F300, 0x1FAFF}, {0x20000, 0x3FFFD}};

}  // namespace

CodePoint code_point_at(std::string_view text, std::size_t at) {
  const auto lead = static_cast<unsigned char>(text[at]);
  const std::size_t length = utf8_character_length(text.substr(at));
  if (length <= 1) return {lead, 1};
  constexpr unsigned kLeadBits[] = {0, 0, 0x1F, 0x0F, 0x07};
  char32_t value = lead & kLeadBits[length];
  for (std::size_t i = 1; i < length; ++i) {
    value = (value << 6) | (static_cast<unsigned char>(text[at + i]) & 0x3FU);
  }
  return {value, length};
}

std::size_t characters(std::string_view text) {
  return static_cast<std::size_t>(
      std::count_if(text.begin(), text.end(), [](char c) { return !is_continuation(c); }));
}

int cells(char32_t c) {
  const auto holds = [c](const Range& range) { return c >= range.first && c <= range.last; };
  if (std::any_of(std::begin(kCombining), std::end(kCombining), holds)) return 0;
  return std::any_of(std::begin(kWide), std::end(kWide), holds) ? 2 : 1;
}

std::string shown(std::string_view text) {
  std::string out;
  std::size_t count = 0;
  for (std::size_t i = 0; i < text.size(); ++count) {
    if (count == kLongestQuote) return out + "...";
    const CodePoint c = code_point_at(text, i);
    if (is_control(c.value)) {
      out += '?';
    } else {
      out += text.substr(i, c.length);
    }
    i += c.length;
  }
  return out;
}

std::string quoted(std::string_view text) { return '`' + shown(text) + '`'; }

bool has_control_character(std::string_view text) {
  for (std::size_t i = 0; i < text.size();) {
    const CodePoint c = code_point_at(text, i);
    if (is_control(c.value)) return true;
    i += c.length;
  }
  return false;
}

}  // namespace torpor::config
