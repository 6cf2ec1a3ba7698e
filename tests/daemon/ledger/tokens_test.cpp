#include "daemon/ledger/tokens.h"

#include <doctest/doctest.h>

namespace torpor::daemon {

namespace {

// Words plain, quoted texts in [], commas as they are.
std::string split(std::string_view text) {
  const auto tokens = split_sentence(text);
  if (!tokens) return tokens.error();
  std::string line;
  for (const Token& token : *tokens) {
    if (!line.empty()) line += ' ';
    line += token.kind == Token::Kind::quoted ? "[" + token.text + "]" : token.text;
  }
  return line;
}

}  // namespace

TEST_CASE("a sentence is split into words, quoted texts and commas") {
  const char* rows[][2] = {
      {"ask B-07", "ask B-07"},
      {"  ask \t", "ask"},
      {"ask B-07\r\n", "ask B-07"},
      {"ask   B-07.", "ask B-07"},
      {"", ""},
      {"bubbling, sweet smell", "bubbling , sweet smell"},
      {"1,25 kg,2", "1,25 kg , 2"},
      {"1,2,3", "1,2,3"},
      {"a,b", "a , b"},
      {"by \"Mara Huber\"", "by [Mara Huber]"},
      {"by\"Mara\"at x", "by [Mara] at x"},
      {"origin \"beech hollow, north slope\"", "origin [beech hollow, north slope]"},
      {"by \"\"", "by []"},
      {"by \" Mara \"", "by [Mara]"},
      {"say \xE2\x80\x9CMara\xE2\x80\x9D", "say [Mara]"},  // U+201C U+201D
      {"say \xE2\x80\x9EMara\xE2\x80\x9C", "say [Mara]"},  // U+201E U+201C
      {"say \xC2\xABMara\xC2\xBB", "say [Mara]"},          // guillemets
      {"say \xE2\x80\x9CMara\"", "say [Mara]"},            // mixed by a phone
      {"say \"Mara\xE2\x80\x9D", "say [Mara]"},
      {"say \"the \xE2\x80\x9Cold\xE2\x80\x9D beech\"",
       "say [the \xE2\x80\x9Cold\xE2\x80\x9D beech]"},
      {"ask B\xE2\x80\x93"
       "07",
       "ask B-07"},  // en dash
      {"ask B\xE2\x80\x91"
       "07",
       "ask B-07"},  // no-break hyphen
      {"ask\xC2\xA0"
       "B-07",
       "ask B-07"},                                                      // no-break space
      {"M\xC3\xA4rz \xF0\x9F\x8D\x84", "M\xC3\xA4rz \xF0\x9F\x8D\x84"},  // an umlaut, an emoji
  };
  for (const auto& row : rows) {
    CAPTURE(row[0]);
    CHECK(split(row[0]) == row[1]);
  }
}

TEST_CASE("bytes that are no UTF-8 are refused") {
  for (const char* text : {"ask \xff", "ask \xc3", "ask \xc0\xaf", "ask \xe2\x80", "\x80",
                           "ask \xed\xa0\x80", "ask \xf4\x90\x80\x80", "ask \xe0\x80\xaf",
                           "ask \xf0\x80\x80\xaf", "ask \xf8\x88\x80\x80\x80"}) {
    CHECK(split(text) == "the text is not UTF-8");
  }
}

TEST_CASE("control and direction characters inside a sentence are refused") {
  using namespace std::string_view_literals;
  CHECK(split("ask\tB-07") ==
        "the text holds a control character (U+0009); send one line of plain text");
  CHECK(split("ask B-07\nask B-08"sv).find("U+000A") != std::string::npos);
  CHECK(split("ask\0B-07"sv).find("U+0000") != std::string::npos);
  CHECK(split("ask \x1b[31mB-07").find("U+001B") != std::string::npos);
  CHECK(split("ask \x7f").find("U+007F") != std::string::npos);
  CHECK(split("ask \xC2\x85").find("U+0085") != std::string::npos);
  CHECK(split("ask \xE2\x80\xAE"
              "70-B")
            .find("U+202E") != std::string::npos);
  CHECK(split("ask \xE2\x81\xA6").find("U+2066") != std::string::npos);
  CHECK(split("\xEF\xBB\xBF"
              "ask")
            .find("U+FEFF") != std::string::npos);
}

TEST_CASE("a quote that is not closed is refused") {
  CHECK(split("by \"Mara") == "a quote is opened and not closed");
  CHECK(split("by Mara\"") == "a quote is opened and not closed");
  CHECK(split("by \xE2\x80\x9EMara") == "a quote is opened and not closed");
}

TEST_CASE("words are compared without the case of ASCII letters") {
  CHECK(same_word("Move", "mOVE"));
  CHECK_FALSE(same_word("move", "moves"));
  CHECK(lower_case("B-07 \xC3\x84") == "b-07 \xC3\x84");
}

}  // namespace torpor::daemon
