#include "daemon/report/printable.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cstdint>

#include "sensors/utf8.h"

namespace torpor::daemon {
namespace {

struct Span {
  char32_t first, last;
};
template <std::size_t N>
bool in_any(const std::array<Span, N>& spans, char32_t code) {
  return std::any_of(spans.begin(), spans.end(),
                     [&](const Span& span) { return span.first <= code && code <= span.last; });
}

// Would act instead of print. C1 controls are terminal escapes in one character; the others break
// lines or turn the direction of what follows (Unicode 15, bidirectional formatting characters).
bool acts(char32_t code) {
  static constexpr std::array<Span, 8> kActing = {{{0x00, 0x1F},
                                                   {0x7F, 0x9F},
                                                   {0x061C, 0x061C},
                                                   {0x200E, 0x200F},
                                                   {0x2028, 0x2029},
                                                   {0x202A, 0x202E},
                                                   {0x2066, 0x2069},
                                                   {0xFEFF, 0xFEFF}}};
  return in_any(kActing, code);
}

std::string escaped(const Utf8Character& character) {
  if (character.value == U'\n') return "\\n";
  if (character.value == U'\t') return "\\t";
  const auto number = static_cast<std::uint32_t>(character.value);
  return character.valid && character.value > 0x7F ? fmt::format("\\u{{{:x}}}", number)
                                                   : fmt::format("\\x{:02x}", number);
}

// The longest start of `text` that is at most `width` columns wide.
std::string_view start_of(std::string_view text, int width) {
  std::size_t end = 0;
  while (end < text.size()) {
    const Utf8Character character = utf8_character_at(text, end);
    width -= columns_of(character.value);
    if (width < 0) break;
    end += character.length;
  }
  return text.substr(0, end);
}

std::string cut(std::string_view text, int width) {
  if (display_width(text) <= width) return std::string(text);
  return width < 1 ? std::string() : std::string(start_of(text, width - 1)) + "~";
}

std::string blanks(std::string_view text, int width) {
  return std::string(static_cast<std::size_t>(std::max(0, width - display_width(text))), ' ');
}

}  // namespace

std::string printable(std::string_view text) {
  std::string shown;
  shown.reserve(text.size());
  while (!text.empty()) {
    const Utf8Character character = utf8_character_at(text, 0);
    if (!character.valid || acts(character.value)) {
      shown += escaped(character);
    } else {
      shown += text.substr(0, character.length);
    }
    text.remove_prefix(character.length);
  }
  return shown;
}

int display_width(std::string_view text) {
  int width = 0;
  while (!text.empty()) {
    const Utf8Character character = utf8_character_at(text, 0);
    width += columns_of(character.value);
    text.remove_prefix(character.length);
  }
  return width;
}

std::string fit(std::string_view text, int width) {
  const std::string shown = cut(text, width);
  return shown + blanks(shown, width);
}

std::string fit_right(std::string_view text, int width) {
  const std::string shown = cut(text, width);
  return blanks(shown, width) + shown;
}

std::vector<std::string> wrap(std::string_view text, int width) {
  std::vector<std::string> lines(1);
  while (!text.empty()) {
    const std::size_t space = text.find(' ');
    std::string_view word = text.substr(0, space);
    text.remove_prefix(space == std::string_view::npos ? text.size() : space + 1);
    if (word.empty()) continue;
    if (!lines.back().empty() && display_width(lines.back()) + 1 + display_width(word) > width) {
      lines.emplace_back();
    }
    if (!lines.back().empty()) lines.back() += ' ';
    while (display_width(word) > width) {
      const std::string_view part = start_of(word, width);
      lines.back() += part;
      lines.emplace_back();
      word.remove_prefix(part.size());
    }
    lines.back() += word;
  }
  return lines;
}

}  // namespace torpor::daemon
