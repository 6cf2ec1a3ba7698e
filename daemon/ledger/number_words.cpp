#include "daemon/ledger/number_words.h"

#include <algorithm>
#include <array>
#include <string>

#include "daemon/ledger/tokens.h"

namespace torpor::daemon {

namespace {

struct Numeral {
  std::string_view word;
  int value;
};
constexpr std::array kUnderTwenty = {
    Numeral{"zero", 0},      Numeral{"one", 1},       Numeral{"two", 2},
    Numeral{"three", 3},     Numeral{"four", 4},      Numeral{"five", 5},
    Numeral{"six", 6},       Numeral{"seven", 7},     Numeral{"eight", 8},
    Numeral{"nine", 9},      Numeral{"ten", 10},      Numeral{"eleven", 11},
    Numeral{"twelve", 12},   Numeral{"thirteen", 13}, Numeral{"fourteen", 14},
    Numeral{"fifteen", 15},  Numeral{"sixteen", 16},  Numeral{"seventeen", 17},
    Numeral{"eighteen", 18}, Numeral{"nineteen", 19},
};
constexpr std::array kTens = {
    Numeral{"twenty", 20}, Numeral{"thirty", 30},  Numeral{"forty", 40},  Numeral{"fifty", 50},
    Numeral{"sixty", 60},  Numeral{"seventy", 70}, Numeral{"eighty", 80}, Numeral{"ninety", 90},
};

template <std::size_t size>
std::optional<int> numeral(const std::array<Numeral, size>& numerals, std::string_view word) {
  for (const Numeral& known : numerals) {
    if (same_word(known.word, word)) return known.value;
  }
  return std::nullopt;
}

using Words = std::span<const std::string_view>;

bool is(Words words, std::size_t i, std::string_view word) {
  return i < words.size() && same_word(words[i], word);
}

// 0 to 99, also "twenty-five" in one word.
std::optional<SpokenNumber> under_hundred(Words words) {
  if (words.empty()) return std::nullopt;
  if (const auto small = numeral(kUnderTwenty, words[0])) {
    return SpokenNumber{static_cast<double>(*small), 1};
  }
  const std::size_t dash = words[0].find('-');
  const auto tens = numeral(kTens, words[0].substr(0, dash));
  if (!tens) return std::nullopt;
  const auto unit = [](std::string_view word) {
    const auto value = numeral(kUnderTwenty, word);
    return value && *value > 0 && *value < 10 ? value : std::nullopt;
  };
  if (dash != std::string_view::npos) {
    const auto ones = unit(words[0].substr(dash + 1));
    if (!ones) return std::nullopt;
    return SpokenNumber{static_cast<double>(*tens + *ones), 1};
  }
  if (words.size() > 1) {
    if (const auto ones = unit(words[1])) return SpokenNumber{double(*tens + *ones), 2};
  }
  return SpokenNumber{static_cast<double>(*tens), 1};
}

std::optional<SpokenNumber> whole_number(Words words) {
  auto number = under_hundred(words);
  const bool a_hundred = (is(words, 0, "a") || is(words, 0, "an")) && is(words, 1, "hundred");
  if (a_hundred) number = SpokenNumber{1, 1};
  if (!number || number->value > 9 || !is(words, number->words, "hundred")) return number;
  number->value *= 100;
  ++number->words;
  const std::size_t rest = number->words + (is(words, number->words, "and") ? 1 : 0);
  if (const auto more = under_hundred(words.subspan(std::min(rest, words.size())))) {
    number->value += more->value;
    number->words = rest + more->words;
  }
  return number;
}

}  // namespace

std::optional<SpokenNumber> spoken_number(Words words) {
  if (is(words, 0, "half")) {
    return SpokenNumber{0.5, is(words, 1, "a") || is(words, 1, "an") ? std::size_t{2} : 1};
  }
  auto number = whole_number(words);
  if (!number) {
    if (!is(words, 0, "a") && !is(words, 0, "an")) return std::nullopt;
    if (is(words, 1, "half")) return SpokenNumber{0.5, 2};
    return SpokenNumber{1, 1};
  }
  const std::size_t after = number->words;
  if (is(words, after, "and") && is(words, after + 1, "a") && is(words, after + 2, "half")) {
    return SpokenNumber{number->value + 0.5, after + 3};
  }
  return number;
}

}  // namespace torpor::daemon
