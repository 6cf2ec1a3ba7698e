#include "daemon/ledger/answer_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "daemon/ledger/tokens.h"
#include "sensors/shown_number.h"

namespace torpor::daemon {

namespace {

// At most `decimals` places, without trailing zeros.
std::string plain(double value, int decimals) {
  std::string text = shown_number(value, decimals);
  if (text.find('.') != std::string::npos && text.find('e') == std::string::npos) {
    text.erase(text.find_last_not_of('0') + 1);
    if (text.back() == '.') text.pop_back();
  }
  return text;
}

void append_harmless(std::string& line, char32_t point, std::string_view bytes) {
  if (point == kNotUtf8) {
    line += "\xEF\xBF\xBD";  // U+FFFD
  } else if (is_control(point)) {
    line += ' ';
  } else if (point == '<') {
    line += "\xE2\x80\xB9";  // U+2039
  } else if (point == '>') {
    line += "\xE2\x80\xBA";  // U+203A
  } else {
    line += bytes;
  }
}

}  // namespace

std::string grams_text(Grams amount) {
  return fmt::format("{} g", plain(amount.value(), amount.value() < 100 ? 1 : 0));
}

std::string volume_text(double ml) {
  return ml < 1000 ? fmt::format("{} ml", plain(ml, 0)) : fmt::format("{} l", plain(ml / 1000, 2));
}

std::string length_text(double mm) {
  return mm < 10 ? fmt::format("{} mm", plain(mm, 1)) : fmt::format("{} cm", plain(mm / 10, 1));
}

std::string harmless(std::string_view text, std::size_t longest) {
  std::string line;
  std::size_t characters = 0;
  for (std::size_t position = 0; position < text.size(); ++characters) {
    if (characters == longest) return line + "...";
    const std::size_t here = position;
    const char32_t point = next_code_point(text, position);
    append_harmless(line, point, text.substr(here, position - here));
  }
  return line;
}

std::string shown(std::string_view text) {
  constexpr std::size_t kLongestShown = 40;  // enough to find the word again in what was sent
  return fmt::format("\"{}\"", harmless(text, kLongestShown));
}

std::string as_told(std::string_view text) {
  const bool one_word =
      !text.empty() && text.find_first_of(" ,\"") == std::string_view::npos && text.back() != '.';
  return one_word ? std::string(text) : fmt::format("\"{}\"", text);
}

std::string without_stop(std::string text) {
  if (text.ends_with('.')) text.pop_back();
  return text;
}

std::string listed(const std::vector<std::string>& items, std::size_t most) {
  std::string text;
  const std::size_t count = std::min(items.size(), most);
  for (std::size_t i = 0; i < count; ++i) {
    if (i > 0) text += i + 1 == items.size() ? " and " : ", ";
    text += items[i];
  }
  if (items.size() > most) text += fmt::format(" and {} more", items.size() - most);
  return text;
}

}  // namespace torpor::daemon
