#include "config/yaml_tree.h"

#include <doctest/doctest.h>

#include "tests/config/faults_of.h"

namespace torpor::config {
namespace {

struct Parsed {
  std::optional<YamlNode> tree;
  std::string faults;
};

Parsed parse(const std::string& text) {
  FaultList faults(text, "f");
  Parsed parsed;
  if (check_characters(faults, 1024 * 1024)) parsed.tree = parse_yaml(faults);
  parsed.faults = brief(faults.faults());
  return parsed;
}

std::string repeated(const std::string& text, int times) {
  std::string all;
  for (int i = 0; i < times; ++i) all += text;
  return all;
}

TEST_CASE("words, lists and mappings keep their order and place") {
  const std::string text = "b: °C\na: [1, \"x\"]\nc: {d: }\n";
  const Parsed parsed = parse(text);
  REQUIRE(parsed.tree.has_value());
  CHECK(parsed.faults.empty());
  const YamlNode& root = *parsed.tree;
  CHECK(root.kind == YamlNode::Kind::mapping);
  REQUIRE(root.children.size() == 3);
  CHECK(root.children[0].key == "b");
  CHECK(root.children[0].text == "°C");
  CHECK(root.children[0].at == 3);
  CHECK(root.children[1].key_at == text.find('a'));
  REQUIRE(root.children[1].children.size() == 2);
  CHECK(root.children[1].children[1].text == "x");
  CHECK(root.children[1].children[1].at == text.find('"'));
  CHECK(root.children[2].children.at(0).kind == YamlNode::Kind::nothing);
}

TEST_CASE("an empty text, comments and null are nothing") {
  for (const std::string text : {"", "\n\n", "# only a comment\n", "~", "null\n"}) {
    CAPTURE(text);
    const Parsed parsed = parse(text);
    REQUIRE(parsed.tree.has_value());
    CHECK(parsed.tree->kind == YamlNode::Kind::nothing);
    CHECK(parsed.faults.empty());
  }
}

TEST_CASE("what is not well-formed has its place and a way out") {
  const Faulty rows[] = {
      {"a: {u: %}\n", "1:8: a word cannot begin with % unless it is quoted; write \"%...\"\n"},
      {"°: @x\n", "1:4: a word cannot begin with @ unless it is quoted; write \"@...\"\n"},
      {"a:\n\tb: 1\n", "2:1: the line is indented with a tab; indent with spaces\n"},
      {"a:\n  \tb: 1\n", "2:3: the line is indented with a tab; indent with spaces\n"},
      {"°: [1, 2\n",
       "1:4: the [ that opens here is not closed, or a comma is missing in it (noticed on line 2); "
       "close it with ]\n"},
      {"a: {b: 1, c\n",
       "1:4: the { that opens here is not closed, or a comma is missing in it (noticed on line 2); "
       "close it with }\n"},
      {"a: [\"x\" \"y\"]\n",
       "1:4: the [ that opens here is not closed, or a comma is missing in it; close it with ]\n"},
      {"a: 1\n b: 2\n",
       "2:3: this colon cannot stand here: the line above may be indented less or lack its colon, "
       "or "
       "a word with a colon and a space in it needs quotes\n"},
      {"°°: b: c\n",
       "1:6: this colon cannot stand here: the line above may be indented less or lack its colon, "
       "or "
       "a word with a colon and a space in it needs quotes\n"},
      {"a: 1\nb\nc\n",
       "2:1: found `b` without a colon; expected `key: value`\n3:1: this is not well-formed YAML "
       "(end of map not found); check the "
       "brackets, quotes, colons and indentation of this line and the one above\n"},
      {"°: \"x\n", "1:4: the quote \" that opens here is never closed; close it\n"},
      {"°: 'it''s\n", "1:4: the quote ' that opens here is never closed; close it\n"},
      {"°: \"x\\\"\n", "1:4: the quote \" that opens here is never closed; close it\n"},
      {"{a: 1} b\n",
       "1:8: the text goes on after its end: indentation or brackets end it before this line, or a "
       "second document starts; keep one document\n"},
      {"a: 1\n---\nb: 2\n",
       "2:1: the text goes on after its end: indentation or brackets end it before this line, or a "
       "second document starts; keep one document\n"},
      {"a: *x\n",
       "1:4: aliases (*name) are not read here; write the value out, or quote a word that "
       "begins with *\n"},
  };
  for (const Faulty& row : rows) {
    CAPTURE(row.text);
    const Parsed parsed = parse(row.text);
    CHECK_FALSE(parsed.tree.has_value());
    CHECK(parsed.faults == row.faults);
  }
}

TEST_CASE("what is well-formed but refused is told at its place, and the rest is still read") {
  const Faulty rows[] = {
      {"°: &x 1\nb: *x\n",
       "1:4: anchors (&name) are not read here; write the value out where it is used\n"
       "2:4: aliases (*name) are not read here; write the value out\n"},
      {"a: !!str 1\n", "1:4: tags (!name) are not read here; write the value without one\n"},
      {"a: 1\nb 2\n", "2:1: found `b 2` without a colon; expected `key: value`\n"},
      {"? [a]\n: b\n", "1:3: found no word before the colon; expected `key: value`\n"},
      {"a: 1\n\"\": 2\n", "2:1: found no word before the colon; expected `key: value`\n"},
      {"a: 1\nb: {c: 1, °: 2, c: 3}\na: 4\na: 5\n",
       "2:17: `c` is written twice, first on line 2; keep one of them\n"
       "3:1: `a` is written twice, first on line 1; keep one of them\n"
       "4:1: `a` is written twice, first on line 1; keep one of them\n"},
  };
  for (const Faulty& row : rows) {
    CAPTURE(row.text);
    const Parsed parsed = parse(row.text);
    CHECK(parsed.tree.has_value());
    CHECK(parsed.faults == row.faults);
  }
}

TEST_CASE("of a repeated key the first value is kept") {
  const Parsed parsed = parse("a: 1\na: 2\n");
  REQUIRE(parsed.tree->children.size() == 1);
  CHECK(parsed.tree->children[0].text == "1");
}

TEST_CASE("an escaped or doubled quote does not close a word") {
  const Parsed parsed = parse("a: \"x\\\"y\"\nb: 'it''s'\n");
  CHECK(parsed.faults.empty());
  REQUIRE(parsed.tree.has_value());
  CHECK(parsed.tree->children[0].text == "x\"y");
  CHECK(parsed.tree->children[1].text == "it's");
}

TEST_CASE("bytes that are not text are refused at their place") {
  const auto faults = [](const std::string& text) { return parse(text).faults; };
  CHECK(faults("a: °\xFF") ==
        "1:5: found the byte 0xFF, which is not UTF-8; save the file as UTF-8 "
        "text\n");
  CHECK(faults("a: \xC2") ==
        "1:4: found the byte 0xC2, which is not UTF-8; save the file as UTF-8 "
        "text\n");
  // yaml-cpp takes 0x04 for the end of the file.
  CHECK(faults("a: 1\n\x04") ==
        "2:1: found the control character 0x04; expected text: delete it "
        "(lines end in LF or CR LF)\n");
  CHECK(faults("a: 1\rb: 2") ==
        "1:5: found the control character 0x0D; expected text: delete it "
        "(lines end in LF or CR LF)\n");
  CHECK(faults(std::string("a\0b", 3)) ==
        "1:2: found the control character 0x00; expected text: "
        "delete it (lines end in LF or CR LF)\n");
  CHECK(faults("a: 1\r\nb: 2\r\n").empty());
  CHECK(faults("\xEF\xBB\xBF"
               "a: 1\n")
            .empty());
}

TEST_CASE("size, nesting and number of entries are limited, on both sides of the limit") {
  const int deepest = static_cast<int>(kDeepestNesting);
  CHECK(parse(repeated("[", deepest) + repeated("]", deepest)).faults.empty());
  CHECK(
      parse(repeated("[", deepest + 1) + repeated("]", deepest + 1)).faults ==
      "1:65: nested more than 64 deep; expected a plain settings file: check the brackets and the "
      "indentation\n");
  const int most = static_cast<int>(kMostEntries);
  CHECK(parse("[" + repeated("a,", most) + "]").faults.empty());
  CHECK(
      parse("[" + repeated("a,", most + 1) + "]").faults ==
      "1:20002: more than 10000 entries in one list or mapping; expected a file a person keeps by "
      "hand: split it or check its name\n");

  const auto check_size = [](std::size_t size) {
    const std::string text(size, '\n');
    FaultList faults(text, "f");
    return check_characters(faults, 100) ? std::string() : brief(faults.faults());
  };
  CHECK(check_size(100).empty());
  CHECK(check_size(101) ==
        "1:1: found 101 bytes; expected at most 100: this is not a file a person "
        "keeps by hand, check the name\n");
}

TEST_CASE("text made to grow or to nest without end is refused") {
  const int many = 250000;
  CHECK_FALSE(parse(repeated("[", many)).tree.has_value());
  CHECK_FALSE(parse(repeated("{", many)).tree.has_value());
  CHECK_FALSE(parse(repeated("- ", many)).tree.has_value());
  CHECK_FALSE(parse(repeated("? ", many)).tree.has_value());
  CHECK_FALSE(parse(repeated("a: &a [*a, *a]\n", 1000)).faults.empty());
}

}  // namespace
}  // namespace torpor::config
