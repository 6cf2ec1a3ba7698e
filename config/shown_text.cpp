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

}  // namespace

std::size_t characters(std::string_view text) {
  return static_cast<std::size_t>(
      std::count_if(text.begin(), text.end(), [](char c) { return !is_continuation(c); }));
}

std::string shown(std::string_view text) {
  std::string out;
  std::size_t count = 0;
  for (std::size_t i = 0; i < text.size(); ++count) {
    if (count == kLongestQuote) return out + "...";
    const Utf8Character c = utf8_character_at(text, i);
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
    const Utf8Character c = utf8_character_at(text, i);
    if (is_control(c.value)) return true;
    i += c.length;
  }
  return false;
}

}  // namespace torpor::config
