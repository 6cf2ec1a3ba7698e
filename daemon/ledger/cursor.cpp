#include "daemon/ledger/cursor.h"

#include <fmt/format.h>

#include <charconv>
#include <span>

#include "daemon/ledger/number_words.h"

namespace torpor::daemon {

std::size_t Cursor::matches(std::string_view phrase, std::size_t ahead) const {
  std::size_t count = 0;
  for (std::string_view rest = phrase; !rest.empty(); ++count) {
    const std::size_t blank = rest.find(' ');
    if (!same_word(word(ahead + count), rest.substr(0, blank))) return 0;
    rest = blank == std::string_view::npos ? std::string_view() : rest.substr(blank + 1);
  }
  return count;
}

bool Cursor::take(std::string_view phrase) {
  const std::size_t count = matches(phrase);
  skip(count);
  return count > 0;
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
  auto instant = zone.parse(text);
  if (instant) skip(clock_follows ? 2 : 1);
  return instant;
}

Cursor::Normal Cursor::normal_words() const {
  constexpr std::size_t kMostWords = 12;  // two pounds and ... twenty five ounces
  std::vector<std::string_view> words;
  while (words.size() < kMostWords && !word(words.size()).empty()) {
    words.push_back(word(words.size()));
  }
  Normal normal;
  for (std::size_t i = 0; i < words.size();) {
    const auto spoken = spoken_number(std::span(words).subspan(i));
    normal.words.push_back(spoken ? fmt::format("{:g}", spoken->value) : std::string(words[i]));
    normal.counts.push_back(spoken ? spoken->words : 1);
    i += normal.counts.back();
  }
  return normal;
}

tl::expected<double, std::string> Cursor::take_measure(Dimension dimension) {
  const Normal normal = normal_words();
  if (normal.words.empty()) {
    return tl::unexpected(fmt::format("{} is not a {}", found(), dimension_name(dimension)));
  }
  constexpr std::size_t kMostRead = 4;  // 2 lb 10 oz
  const std::vector<std::string_view> words(
      normal.words.begin(),
      normal.words.begin() + static_cast<long>(std::min(kMostRead, normal.words.size())));
  const auto measured = read_measure(words, dimension);
  if (!measured) return tl::unexpected(measured.error());
  for (std::size_t i = 0; i < measured->words; ++i) skip(normal.counts[i]);
  return measured->value;
}

tl::expected<Grams, std::string> Cursor::take_weight(Substance substance) {
  const Normal normal = normal_words();
  const bool cups = normal.words.size() > 1 &&
                    (same_word(normal.words[1], "cup") || same_word(normal.words[1], "cups"));
  if (!cups) return take_measure(Dimension::mass).map([](double grams) { return Grams(grams); });
  const auto number = read_number(normal.words[0]);
  if (!number) return tl::unexpected(number.error());
  skip(normal.counts[0] + 1);
  notes_.push_back(cups_note(*number, substance));
  return Grams(*number * cup_weight(substance).middle);
}

std::optional<std::uint64_t> Cursor::take_count() {
  const Normal normal = normal_words();
  if (normal.words.empty()) return std::nullopt;
  std::string_view digits = normal.words[0];
  if (digits.front() == '#') digits.remove_prefix(1);
  std::uint64_t number = 0;
  const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), number);
  const bool whole = error == std::errc() && end == digits.data() + digits.size();
  if (digits.empty() || !whole || number == 0) return std::nullopt;
  skip(normal.counts[0]);
  return number;
}

bool Cursor::at_number() const {
  const std::string_view first = word();
  if (first.empty()) return false;
  if ((first.front() >= '0' && first.front() <= '9') || first.front() == '-') return true;
  const std::string_view words[] = {first, word(1)};
  return spoken_number(words).has_value();
}

}  // namespace torpor::daemon
