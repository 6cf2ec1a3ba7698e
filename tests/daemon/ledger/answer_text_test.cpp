#include "daemon/ledger/answer_text.h"

#include <doctest/doctest.h>

namespace torpor::daemon {

TEST_CASE("amounts are shown in words a scale shows") {
  CHECK(grams_text(Grams(1200)) == "1200 g");
  CHECK(grams_text(Grams(1190.68)) == "1191 g");
  CHECK(grams_text(Grams(100)) == "100 g");
  CHECK(grams_text(Grams(99.96)) == "100 g");
  CHECK(grams_text(Grams(28.35)) == "28.4 g");
  CHECK(grams_text(Grams(0)) == "0 g");
  CHECK(volume_text(3800) == "3.8 l");
  CHECK(volume_text(3785.41) == "3.79 l");
  CHECK(volume_text(999) == "999 ml");
  CHECK(volume_text(1000) == "1 l");
  CHECK(length_text(110) == "11 cm");
  CHECK(length_text(101.6) == "10.2 cm");
  CHECK(length_text(8) == "8 mm");
}

TEST_CASE("names are shown harmlessly") {
  CHECK(harmless("<b>Mara</b>") ==
        "\xE2\x80\xB9"
        "b\xE2\x80\xBA"
        "Mara\xE2\x80\xB9/b\xE2\x80\xBA");
  CHECK(harmless("a\nb\x1b[31m") == "a b [31m");
  CHECK(harmless("a\xE2\x80\xAE"
                 "b") == "a b");  // right-to-left override
  CHECK(harmless("a\xff"
                 "b") ==
        "a\xEF\xBF\xBD"
        "b");
  CHECK(harmless("\xC3\xA4\xC3\xB6\xC3\xBC", 2) == "\xC3\xA4\xC3\xB6...");
  CHECK(harmless("ab", 2) == "ab");
  CHECK(shown(std::string(50, 'x')) == "\"" + std::string(40, 'x') + "...\"");
}

TEST_CASE("names in examples are quoted where one word is not enough") {
  CHECK(as_told("cellar/shelf-2") == "cellar/shelf-2");
  CHECK(as_told("North Loft") == "\"North Loft\"");
  CHECK(as_told("a,b") == "\"a,b\"");
  CHECK(as_told("") == "\"\"");
}

TEST_CASE("a sentence goes on without its stop") {
  CHECK(without_stop("It waits.") == "It waits");
  CHECK(without_stop("3.5 g") == "3.5 g");
  CHECK(without_stop("").empty());
}

TEST_CASE("lists are joined and cut") {
  CHECK(listed({}, 3) == "");
  CHECK(listed({"a"}, 3) == "a");
  CHECK(listed({"a", "b"}, 3) == "a and b");
  CHECK(listed({"a", "b", "c"}, 3) == "a, b and c");
  CHECK(listed({"a", "b", "c", "d"}, 3) == "a, b, c and 1 more");
}

}  // namespace torpor::daemon
