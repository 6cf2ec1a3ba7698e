#include "daemon/ledger/cursor.h"

#include <fmt/format.h>

namespace torpor::daemon {

bool Cursor::take(std::string_view phrase) {
  std::size_t count = 0;
  for (std::string_view rest = phrase; !rest.empty(); ++count) {
    const std::size_t blank = rest.find(' ');
    if (!same_word(word(count), rest.substr(0, blank))) return false;
    rest = blank == std::string_view::npos ? std::string_view() : rest.substr(blank + 1);
  }
  skip(count);
  return true;
}

void Cursor::skip_commas() {
  while (!at_end() && peek()->kind == Token::Kind::comma) skip();
}

std::string Cursor::found() const { return at_end() ? "nothing" : shown(peek()->text); }

tl::expected<std::string, std::string> Cursor::take_text(std::string_view what,
                                                         std::size_t longest) {
  const Token* token = peek();
  if (token == nullptr || token->kind == Token::Kind::comma || token->text.empty()) {
    return tl::unexpected(fmt::format("{} is missing", what));
  }
  if (token->text.size() > longest) {
    return tl::unexpected(fmt::format("{} is longer than {} bytes", what, longest));
  }
  skip();
  return token->text;
}

tl::expected<Instant, std::string> Cursor::take_time(const LocalTime& zone) {
  if (word().empty()) return tl::unexpected(fmt::format("{} is not a time", found()));
  std::string text(word());
  const bool clock_follows = text.size() == 10 && word(1).size() > 2 && word(1)[2] == ':';
  if (clock_follows) text += fmt::format("T{}", word(1));
  const auto instant = zone.parse(text);
  if (instant) skip(clock_follows ? 2 : 1);
  return instant;
}

tl::expected<double, std::string> Cursor::take_measure(Dimension dimension) {
  constexpr std::size_t kMostWords = 4;  // 2 lb 10 oz
  std::vector<std::string_view> words;
  while (words.size() < kMostWords && !word(words.size()).empty()) {
    words.push_back(word(words.size()));
  }
  if (words.empty()) {
    return tl::unexpected(fmt::format("{} is not a {}", found(), dimension_name(dimension)));
  }
  const auto measured = read_measure(words, dimension);
  if (!measured) return tl::unexpected(measured.error());
  skip(measured->words);
  return measured->value;
}

}  // namespace torpor::daemon
