#include "config/fault.h"

#include <algorithm>
#include <cstddef>
#include <string_view>

#include "config/names.h"
#include "rules/book/near_word.h"
#include "sensors/utf8.h"

namespace torpor::config {
namespace {

// What a terminal puts under the text before the caret: tabs stay tabs, so that both lines jump to
// the same stop, a wide character takes two cells and a combining one takes none.
std::string padding_under(std::string_view line, int characters) {
  std::string padding;
  std::size_t i = 0;
  for (int n = 0; n < characters && i < line.size(); ++n) {
    const Utf8Character c = utf8_character_at(line, i);
    i += c.length;
    padding += c.value == '\t' ? std::string("\t")
                               : std::string(static_cast<std::size_t>(columns_of(c.value)), ' ');
  }
  return padding;
}

}  // namespace

std::string to_text(const Fault& fault) {
  std::string text = fault.file;
  if (fault.at.line > 0) {
    text += ':' + std::to_string(fault.at.line) + ':' + std::to_string(fault.at.column);
  }
  text += ": " + fault.message;
  if (!fault.source_line.empty() && fault.at.column > 0) {
    text += "\n  " + fault.source_line + "\n  ";
    text += padding_under(fault.source_line, fault.at.column - 1) + '^';
  }
  return text;
}

std::string nearest_word(const std::string& word, const std::vector<std::string>& known) {
  // One slip turns one letter into any other: no hint.
  if (word.size() < 2) return {};
  std::vector<std::string> folded;
  folded.reserve(known.size());
  for (const std::string& candidate : known) folded.push_back(without_case(candidate));
  const std::vector<std::string_view> views(folded.begin(), folded.end());
  const std::string_view nearest = rules::near_word(without_case(word), views);
  if (nearest.empty()) return {};
  const auto found = std::find(folded.begin(), folded.end(), nearest);
  return known[static_cast<std::size_t>(found - folded.begin())];
}

}  // namespace torpor::config
