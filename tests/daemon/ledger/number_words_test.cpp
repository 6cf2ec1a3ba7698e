#include "daemon/ledger/number_words.h"

#include <doctest/doctest.h>

#include <vector>

namespace torpor::daemon {

namespace {

std::vector<std::string_view> split_words(std::string_view text) {
  std::vector<std::string_view> words;
  while (!text.empty()) {
    const std::size_t blank = std::min(text.find(' '), text.size());
    words.push_back(text.substr(0, blank));
    text.remove_prefix(std::min(blank + 1, text.size()));
  }
  return words;
}

}  // namespace

TEST_CASE("small numbers are read from words, and no word more than they take") {
  struct Row {
    const char* text;
    double value;
    std::size_t words;
  };
  constexpr Row kRows[] = {
      {"zero g", 0, 1},
      {"One", 1, 1},
      {"nineteen cm", 19, 1},
      {"twenty", 20, 1},
      {"twenty five g", 25, 2},
      {"twenty-five g", 25, 1},
      {"ninety nine", 99, 2},
      {"twenty twelve", 20, 1},
      {"a cup", 1, 1},
      {"a hundred and ten g", 110, 4},
      {"two hundred g", 200, 2},
      {"nine hundred ninety nine", 999, 4},
      {"twenty hundred", 20, 1},
      {"half a cup", 0.5, 2},
      {"a half", 0.5, 2},
      {"half", 0.5, 1},
      {"one and a half cups", 1.5, 4},
      {"two and B-07", 2, 1},
      {"two hundred and", 200, 2},
  };
  for (const Row& row : kRows) {
    CAPTURE(row.text);
    const auto spoken = spoken_number(split_words(row.text));
    REQUIRE(spoken);
    CHECK(spoken->value == row.value);
    CHECK(spoken->words == row.words);
  }
}

TEST_CASE("what is no number in words is left alone") {
  for (const char* text : {"", "B-07", "12", "to", "sugar", "hundred", "twenty-", "-five"}) {
    CAPTURE(text);
    CHECK_FALSE(spoken_number(split_words(text)));
  }
}

}  // namespace torpor::daemon
