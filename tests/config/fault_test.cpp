#include "config/fault.h"

#include <doctest/doctest.h>

#include "config/fault_list.h"

namespace torpor::config {
namespace {

TEST_CASE("a fault is printed with its place, its line and a caret") {
  CHECK(to_text({"rules.yaml", {4, 11}, "found `x`", "    when: x"}) ==
        "rules.yaml:4:11: found `x`\n"
        "      when: x\n"
        "            ^");
}

TEST_CASE("a fault of the file as a whole has neither place nor caret") {
  CHECK(to_text({"rules.yaml", {}, "is missing", ""}) == "rules.yaml: is missing");
}

TEST_CASE("the caret stands under the character as a terminal shows it") {
  struct {
    int column;
    std::string line;
    std::string padding;
  } const rows[] = {
      {1, "x: 1", ""},        {5, "\tx: 1", "\t   "},
      {5, "°C: x", "    "},   {3, "한국x", "    "},  // two cells each
      {3, "e\xCC\x81x", " "},                        // e and a combining acute accent: one cell
      {5, "abcd", "    "},                           // one past the end, where something is missing
      {9, "abcd", "    "},                           // never further
  };
  for (const auto& row : rows) {
    CAPTURE(row.line);
    CHECK(to_text({"f", {1, row.column}, "m", row.line}) ==
          "f:1:" + std::to_string(row.column) + ": m\n  " + row.line + "\n  " + row.padding + "^");
  }
}

TEST_CASE("columns count characters, lines end in LF or CR LF") {
  const std::string_view text = "a: °C x\r\n\xEF\xBB\xBF한국: y\n";
  const FaultList faults(text, "f");
  CHECK(faults.mark(0) == Mark{1, 1});
  CHECK(faults.mark(3) == Mark{1, 4});
  CHECK(faults.mark(text.find('C')) == Mark{1, 5});
  CHECK(faults.mark(text.find('x')) == Mark{1, 7});
  CHECK(faults.mark(text.find('y')) == Mark{2, 6});
  CHECK(faults.mark(text.size()) == Mark{3, 1});
  CHECK(faults.mark(text.size() + 100) == Mark{3, 1});
}

TEST_CASE("a byte order mark is no character of the first line") {
  const FaultList faults(
      "\xEF\xBB\xBF"
      "ab",
      "f");
  CHECK(faults.text() == "ab");
  CHECK(faults.mark(1) == Mark{1, 2});
}

TEST_CASE("faults come in file order, those of one place in the order found") {
  FaultList faults("one\ntwo\n", "f");
  faults.add(4, "third");
  faults.add(0, "first");
  faults.add(4, "fourth");
  faults.add(1, "second");
  const std::vector<Fault> found = faults.faults();
  REQUIRE(found.size() == 4);
  CHECK(found[0] == Fault{"f", {1, 1}, "first", "one"});
  CHECK(found[1] == Fault{"f", {1, 2}, "second", "one"});
  CHECK(found[2] == Fault{"f", {2, 1}, "third", "two"});
  CHECK(found[3] == Fault{"f", {2, 1}, "fourth", "two"});
}

TEST_CASE("past a hundred faults the rest are counted") {
  for (const std::size_t extra : {std::size_t{0}, std::size_t{1}, std::size_t{5}}) {
    FaultList faults("x", "f");
    for (std::size_t i = 0; i < FaultList::kMostShown + extra; ++i) faults.add(0, "m");
    const std::vector<Fault> found = faults.faults();
    CHECK(found.size() == FaultList::kMostShown + (extra > 0 ? 1 : 0));
    if (extra == 0) continue;
    CHECK(to_text(found.back()) ==
          "f: " + std::to_string(extra) + " more faults are not shown; mend these first");
  }
}

TEST_CASE("a very long line and a line that is not text are not repeated") {
  const std::string text = std::string(301, 'x') + "\n" + std::string(300, 'y') + "\n\xFF";
  FaultList kept(text, "f");
  kept.add(0, "long");
  kept.add(302, "short enough");
  kept.add(603, "not text");
  const std::vector<Fault> found = kept.faults();
  REQUIRE(found.size() == 3);
  CHECK(found[0].source_line.empty());
  CHECK(found[1].source_line == std::string(300, 'y'));
  CHECK(found[2].source_line.empty());
}

TEST_CASE("the nearest word is one slip of the keyboard away, whatever its case") {
  const std::vector<std::string> known = {"storeroom", "zone", "clock", "cellar/shelf-2"};
  CHECK(nearest_word("storerom", known) == "storeroom");
  CHECK(nearest_word("STOREROOM", known) == "storeroom");
  CHECK(nearest_word("oznes", known) == "");
  CHECK(nearest_word("ozne", known) == "zone");  // a swap counts one
  CHECK(nearest_word("cellar/Shelf2", known) == "cellar/shelf-2");
  CHECK(nearest_word("weather", known) == "");
  CHECK(nearest_word("z", {"s"}) == "");  // one letter is near to every other
  CHECK(nearest_word("", known) == "");
  CHECK(nearest_word(std::string(100000, 'z'), known) == "");
}

}  // namespace
}  // namespace torpor::config
