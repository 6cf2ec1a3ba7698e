#include "daemon/report/printable.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cstdint>

namespace torpor::daemon {
namespace {

struct Glyph {
  char32_t code = 0;
  std::size_t bytes = 1;
  bool valid = false;  // false: the one byte is not the start of a UTF-8 character
};

bool in_shortest_form(char32_t code, std::size_t bytes) {
  static constexpr std::array<char32_t, 5> kLowest = {0, 0, 0x80, 0x800, 0x10000};
  return code >= kLowest.at(bytes) && code <= 0x10FFFF && !(code >= 0xD800 && code <= 0xDFFF);
}

// Precondition: text is not empty. RFC 3629.
Glyph first_glyph(std::string_view text) {
  const auto byte = [&](std::size_t i) { return static_cast<std::uint8_t>(text[i]); };
  const std::uint8_t lead = byte(0);
  if (lead < 0x80) return {lead, 1, true};
  const std::size_t bytes = lead >= 0xF0 ? 4 : lead >= 0xE0 ? 3 : 2;
  if (lead < 0xC2 || lead > 0xF4 || text.size() < bytes) return {lead, 1, false};
  char32_t code = lead & (0x7Fu >> bytes);
  for (std::size_t i = 1; i < bytes; ++i) {
    if ((byte(i) & 0xC0) != 0x80) return {lead, 1, false};
    code = (code << 6) | (byte(i) & 0x3Fu);
  }
  if (!in_shortest_form(code, bytes)) return {lead, 1, false};
  return {code, bytes, true};
}

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

// The blocks that matter for names; not the whole of Unicode's width tables. A character that is
// missing here puts a table out of line by a column and does no other harm.
int width_of(char32_t code) {
  static constexpr std::array<Span, 5> kCombining = {
      {{0x0300, 0x036F}, {0x0591, 0x05BD}, {0x200B, 0x200D}, {0x20D0, 0x20FF}, {0xFE00, 0xFE0F}}};
  static constexpr std::array<Span, 8> kWide = {{{0x1100, 0x115F},
                                                 {0x2E80, 0xA4CF},
                                                 {0xAC00, 0xD7A3},
                                                 {0xF900, 0xFAFF},
                                                 {0xFE30, 0xFE6F},
                                                 {0xFF00, 0xFF60},
                                                 {0x1F300, 0x1FAFF},
                                                 {0x20000, 0x3FFFD}}};
  if (in_any(kCombining, code)) return 0;
  return in_any(kWide, code) ? 2 : 1;
}

std::string escaped(const Glyph& glyph) {
  if (glyph.code == U'\n') return "\\n";
  if (glyph.code == U'\t') return "\\t";
  const auto number = static_cast<std::uint32_t>(glyph.code);
  return glyph.valid && glyph.code > 0x7F ? fmt::format("\\u{{{:x}}}", number)
                                          : fmt::format("\\x{:02x}", number);
}

// The longest start of `text` that is at most `width` columns wide.
std::string_view start_of(std::string_view text, int width) {
  std::size_t end = 0;
  while (end < text.size()) {
    const Glyph glyph = first_glyph(text.substr(end));
    width -= width_of(glyph.code);
    if (width < 0) break;
    end += glyph.bytes;
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
    const Glyph glyph = first_glyph(text);
    if (!glyph.valid || acts(glyph.code)) {
      shown += escaped(glyph);
    } else {
      shown += text.substr(0, glyph.bytes);
    }
    text.remove_prefix(glyph.bytes);
  }
  return shown;
}

int display_width(std::string_view text) {
  int width = 0;
  while (!text.empty()) {
    const Glyph glyph = first_glyph(text);
    width += width_of(glyph.code);
    text.remove_prefix(glyph.bytes);
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
