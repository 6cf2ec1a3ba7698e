#include "config/word_position.h"

#include <doctest/doctest.h>

#include "config/yaml_tree.h"

namespace torpor::config {
namespace {

// The line and column at which the value of the only key holds `part`.
std::string place_of(const std::string& text, const std::string& part) {
  FaultList faults(text, "f");
  const auto tree = parse_yaml(faults);
  REQUIRE(tree.has_value());
  const YamlNode& node = tree->children.at(0);
  CAPTURE(text);
  CAPTURE(node.text);
  const std::size_t offset = node.text.find(part);
  REQUIRE(offset != std::string::npos);
  const auto at = position_in_word(faults.text(), node.at, node.text, offset);
  if (!at) return "beginning";
  const Mark mark = faults.mark(*at);
  return std::to_string(mark.line) + ':' + std::to_string(mark.column);
}

TEST_CASE("a part of a value is found where it is written") {
  struct {
    std::string text;
    std::string part;
    std::string place;
  } const rows[] = {
      {"w: temperature above 27 °C lasting 2 h\n", "temperature", "1:4"},
      {"w: temperature above 27 °C lasting 2 h\n", "lasting", "1:28"},
      {"w: 'temperature above 27'\n", "above", "1:17"},
      {"w: 'it''s above'\n", "above", "1:11"},
      {"w: \"27 °C above\"\n", "above", "1:11"},
      {"w: plain\n  folded   \n   words here\n", "words", "3:4"},
      {"w: plain\n\n\n   words here\n", "here", "4:10"},
      {"w: 'quoted\n  folded\n\n  words'\n", "words", "4:3"},
      {"w: \"quoted\n  folded words\"\n", "words", "2:10"},
      {"w: |\n  first °\n  second line\n", "second", "3:3"},
      {"w: |\n  first °\n  second line\n", "line", "3:10"},
      {"w: |-\n\n   first\n     deeper\n   last\n", "deeper", "4:6"},
      {"w: |-\n\n   first\n     deeper\n   last\n", "last", "5:4"},
      {"w: >\n  first °\n  second line\n", "line", "3:10"},
      {"w: >-\n  first\n\n\n  second line\n", "second", "5:3"},
      {"w: >-\n  first\n    more indented\n    twice\n  last\n", "twice", "4:5"},
      {"w: >-\n  first\n    more indented\n    twice\n  last\n", "last", "5:3"},
      {"w: |\r\n  first\r\n  second\r\n", "second", "3:3"},
      {"w: plain\r\n  folded\r\n", "folded", "2:3"},
      {"w: > # a comment\n  first\n  second\n", "second", "3:3"},
  };
  for (const auto& row : rows) CHECK(place_of(row.text, row.part) == row.place);
}

TEST_CASE("behind an escape or a stated indentation only the beginning is known") {
  CHECK(place_of("w: \"27 \\u00B0C above\"\n", "27") == "1:5");
  CHECK(place_of("w: \"27 \\u00B0C above\"\n", "above") == "beginning");
  CHECK(place_of("w: |2\n  first\n  second\n", "second") == "1:4");
}

TEST_CASE("an offset past the end is the end") {
  const std::string text = "w: abc\n";
  CHECK(position_in_word(text, 3, "abc", 3) == std::size_t{6});
  CHECK(position_in_word(text, 3, "abc", 99) == std::size_t{6});
  CHECK(position_in_word(text, 7, "", 0) == std::size_t{7});
  CHECK_FALSE(position_in_word(text, 3, "xyz", 2).has_value());  // not the word's value
}

}  // namespace
}  // namespace torpor::config
