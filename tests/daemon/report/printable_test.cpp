#include "daemon/report/printable.h"

#include <doctest/doctest.h>

namespace torpor::daemon {

TEST_CASE("text that would act on a terminal is shown instead") {
  const struct {
    std::string_view text, shown;
  } cases[] = {
      {"B-07", "B-07"},
      {"", ""},
      {"Kühlkeller 18 °C", "Kühlkeller 18 °C"},
      {"a\x1b[31mred", "a\\x1b[31mred"},
      {"bell\a", "bell\\x07"},
      {"two\nlines\r", "two\\nlines\\x0d"},
      {"tab\t", "tab\\t"},
      {std::string_view("nul\0", 4), "nul\\x00"},
      {"del\x7f", "del\\x7f"},
      {"csi\xc2\x9b"
       "31m",
       "csi\\u{9b}31m"},  // C1 in one character
      {"\xe2\x80\xae"
       "gnp.exe",
       "\\u{202e}gnp.exe"},  // right-to-left override
      {"line\xe2\x80\xa8sep", "line\\u{2028}sep"},
      {"\xff\xfe", "\\xff\\xfe"},
      {"cut \xe2\x82", "cut \\xe2\\x82"},            // a euro sign's first two bytes
      {"\xc0\xaf", "\\xc0\\xaf"},                    // overlong: RFC 3629 section 3
      {"\xed\xa0\x80", "\\xed\\xa0\\x80"},           // a surrogate
      {"\xf4\x90\x80\x80", "\\xf4\\x90\\x80\\x80"},  // beyond U+10FFFF
      {"\xf4\x8f\xbf\xbf", "\xf4\x8f\xbf\xbf"},      // U+10FFFF itself
  };
  for (const auto& example : cases) {
    CAPTURE(example.shown);
    CHECK(printable(example.text) == example.shown);
    CHECK(printable(example.shown) == example.shown);
  }
}

TEST_CASE("width is counted in columns, not bytes") {
  CHECK(display_width("abc") == 3);
  CHECK(display_width("18 °C") == 5);
  CHECK(display_width("e\xcc\x81") == 1);         // e and a combining accent
  CHECK(display_width("\xe6\x9c\xa8") == 2);      // a CJK ideograph
  CHECK(display_width("\xf0\x9f\x8d\x9a") == 2);  // cooked rice, an emoji
}

TEST_CASE("text is fitted to a width exactly") {
  CHECK(fit("ab", 4) == "ab  ");
  CHECK(fit_right("ab", 4) == "  ab");
  CHECK(fit("abcd", 4) == "abcd");
  CHECK(fit("abcde", 4) == "abc~");
  CHECK(fit("abcde", 1) == "~");
  CHECK(fit("abcde", 0) == "");
  CHECK(fit("\xe6\x9c\xa8\xe6\x9c\xa8\xe6\x9c\xa8", 4) == "\xe6\x9c\xa8~ ");  // never half of one
}

TEST_CASE("paragraphs break at blanks and a long word where it must") {
  const auto lines = [](std::initializer_list<std::string> text) {
    return std::vector<std::string>(text);
  };
  CHECK(wrap("", 10) == lines({""}));
  CHECK(wrap("one two three", 7) == lines({"one two", "three"}));
  CHECK(wrap("one two three", 8) == lines({"one two", "three"}));
  CHECK(wrap("one  two", 20) == lines({"one two"}));
  CHECK(wrap("abcdefgh", 3) == lines({"abc", "def", "gh"}));
  CHECK(wrap("ab abcdefgh", 3) == lines({"ab", "abc", "def", "gh"}));
}

}  // namespace torpor::daemon
