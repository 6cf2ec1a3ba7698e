#include "config/rulebook.h"

#include <doctest/doctest.h>

#include "tests/config/faults_of.h"

namespace torpor::config {
namespace {

constexpr const char* kTwoRules = R"yaml(rules:
  warm-shelf:
    concerns: place
    when: temperature above 27 °C lasting 2 h
    until: temperature below 25.5 °C lasting 30 min
    urgency: today
    why: Warmth speeds every organism in the jars here.
    remedies: [shade, move]
  silent:
    concerns: sensor
    when: time since reading above 3 h
    urgency: this-week
    why: >
      Nobody watches
      its jars.
)yaml";

std::string book_faults(const std::string& text) {
  return brief(read_rulebook(text, "rules.yaml").faults);
}

// A rule whose `when` is written as given, all else good.
std::string rule_with(const std::string& when) {
  return "rules:\n  r:\n    concerns: place\n    urgency: today\n    why: because\n    when: " +
         when + "\n";
}

// "LINE:COL" of the first fault.
std::string first_place(const std::string& text) {
  const std::string faults = book_faults(text);
  return faults.substr(0, faults.find(": "));
}

TEST_CASE("a rule book becomes checked rules in its order") {
  const RuleBookResult result = read_rulebook(kTwoRules, "rules.yaml");
  CHECK(brief(result.faults) == "");
  REQUIRE(result.rules.size() == 2);
  const rules::Rule& warm = result.rules[0];
  CHECK(warm.name == "warm-shelf");
  CHECK(warm.concerns == rules::Scope::place);
  CHECK(warm.urgency == rules::Urgency::today);
  CHECK(warm.until.has_value());
  CHECK(warm.remedies == std::vector{rules::Remedy::shade, rules::Remedy::move});
  const rules::Rule& silent = result.rules[1];
  CHECK(silent.concerns == rules::Scope::sensor);
  CHECK_FALSE(silent.until.has_value());
  CHECK(silent.why == "Nobody watches its jars.");
}

TEST_CASE("a fault in a rule's sentence stands at its word, however the YAML is written") {
  CHECK(first_place(rule_with("temperature above 27 °C lastin 2 h")) == "6:35");
  CHECK(first_place(rule_with("'temperature above 27 °C lastin 2 h'")) == "6:36");
  CHECK(first_place(rule_with("\"temperature above 27 °C lastin 2 h\"")) == "6:36");
  CHECK(first_place(rule_with(">\n      temperature above 27 °C\n      lastin 2 h")) == "8:7");
  CHECK(first_place(rule_with("|\n      temperature above 27 °C\n      lastin 2 h")) == "8:7");
  CHECK(first_place(rule_with("temperature above 27 °C\n      lastin 2 h")) == "7:7");
  // Behind an escape the caret falls back to the beginning.
  CHECK(first_place(rule_with("\"temperature above 27 \\u00B0C lastin 2 h\"")) == "6:11");
}

TEST_CASE("the fault names its rule") {
  const std::string faults = book_faults(rule_with("temprature above 27 °C"));
  CHECK(faults.find("6:11: rule `r`: ") == 0);
  CHECK(faults.find("temperature") != std::string::npos);
}

TEST_CASE("what a rule lacks is told at its name, what it has wrong at the value") {
  const std::string faults = book_faults(
      "rules:\n"
      "  °x:\n"
      "    concerns: shelf\n"
      "    when: [a]\n"
      "    urgncy: now\n"
      "    remedies: [shade, °, mov]\n");
  // A list for `when` is one fault, not also a missing `when`.
  std::vector<std::string> places;
  for (std::size_t at = 0; at < faults.size(); at = faults.find('\n', at) + 1) {
    places.push_back(faults.substr(at, faults.find(": ", at) - at));
  }
  CHECK(places ==
        std::vector<std::string>{"2:3", "2:3", "2:3", "3:15", "4:11", "5:5", "6:23", "6:26"});
  CHECK(faults.find("5:5: rules.°x: `urgncy` is not a key here; did you mean `urgency`?\n") !=
        std::string::npos);
  CHECK(faults.find("4:11: rules.°x.when: found a list; expected a condition such as `temperature "
                    "above 27 °C lasting 2 h`\n") != std::string::npos);
}

TEST_CASE(
    "what a rule explains are rules of its book or of the built-in one, each fault at its word") {
  const auto book = [](const std::string& explains) {
    return "rules:\n"
           "  damp-shelf:\n"
           "    {concerns: place, when: humidity above 80 %, urgency: today, why: x,\n"
           "     explains: " +
           explains +
           "}\n"
           "  wet-top: {concerns: jar, when: surface activity above 0.9, urgency: today, why: x}\n";
  };
  const Faulty good[] = {{"[wet-top]", ""}, {"[damp-topping, wet-top]", ""}, {"[]", ""}};
  for (const Faulty& row : good) {
    CAPTURE(row.text);
    CHECK(book_faults(book(row.text)) == row.faults);
  }
  const RuleBookResult read = read_rulebook(book("[damp-topping, wet-top]"), "rules.yaml");
  REQUIRE(read.rules.size() == 2);
  CHECK(read.rules[0].explains == std::vector<std::string>{"damp-topping", "wet-top"});
  CHECK(read.rules[1].explains.empty());

  const Faulty rows[] = {
      {"[wet-tap]",
       "4:17: rule `damp-shelf`: there is no rule `wet-tap`; did you mean 'wet-top'?\n"},
      {"[wet-top, damp-toping]",
       "4:26: rule `damp-shelf`: there is no rule `damp-toping`; did you mean 'damp-topping'?\n"},
      {"[quite-another]",
       "4:17: rule `damp-shelf`: there is no rule `quite-another`; name one of this book, or of "
       "`built-in`\n"},
      {"[wet-top, damp-shelf]",
       "4:26: rule `damp-shelf`: a rule cannot explain itself; leave it out\n"},
      {"[wet-top, wet-top]",
       "4:26: rule `damp-shelf`: rule 'wet-top' is there twice; leave one out\n"},
      {"wet-top",
       "4:16: rules.damp-shelf.explains: found `wet-top`; expected a list of jar rules, e.g. "
       "[damp-topping]\n"},
      {"[[wet-top]]",
       "4:17: rules.damp-shelf.explains #1: found a list; expected the name of a rule, e.g. "
       "damp-topping\n"},
      // All at once.
      {"[wet-tap, quite-another]",
       "4:17: rule `damp-shelf`: there is no rule `wet-tap`; did you mean 'wet-top'?\n"
       "4:26: rule `damp-shelf`: there is no rule `quite-another`; name one of this book, or of "
       "`built-in`\n"},
  };
  for (const Faulty& row : rows) {
    CAPTURE(row.text);
    CHECK(book_faults(book(row.text)) == row.faults);
  }
}

TEST_CASE("faults of the book's shape") {
  const Faulty rows[] = {
      {"", "1:1: `rules` is missing; write `rules:` and the rules below it, indented\n"},
      {"rule: {}\n", "1:1: `rule` is not a key here; did you mean `rules`?\n"},
      {"rules: [a]\n",
       "1:8: rules: found a list; expected rules by name, e.g. `warm-shelf: {concerns: "
       "place, ...}`\n"},
      {"rules: {a: °}\n",
       "1:12: rules.a: found `°`; expected {concerns: ..., when: ..., urgency: ..., why: ...}\n"},
      {"- a\n", "1:1: found a list; expected `rules:` and the rules below it\n"},
      {"rules: {a: *b}\n",
       "1:12: aliases (*name) are not read here; write the value out, or quote a word that begins "
       "with *\n"},
  };
  for (const Faulty& row : rows) {
    CAPTURE(row.text);
    CHECK(book_faults(row.text) == row.faults);
  }
  CHECK(book_faults("rules:\n").empty());
  CHECK(book_faults("rules: {}\n").empty());
}

TEST_CASE("two rules of one name in a file are refused") {
  const std::string text = std::string(kTwoRules) + "  silent: {}\n";
  CHECK(book_faults(text) ==
        "16:3: `silent` is written twice, first on line 9; keep one of them\n");
}

TEST_CASE("a book of exactly the largest size is read") {
  std::string text = "rules: {}\n#";
  text.resize(kLargestRuleBook, '#');
  CHECK(book_faults(text).empty());
  text += '#';
  CHECK(book_faults(text) ==
        "1:1: found 1048577 bytes; expected at most 1048576: this is not a file a "
        "person keeps by hand, check the name\n");
}

TEST_CASE("a name from an earlier book is refused at its place in the later one") {
  rules::RuleBook book = read_rulebook(kTwoRules, "first.yaml").rules;
  const std::string more =
      "# °\nrules:\n"
      "  new: {concerns: sensor, when: time since reading above 5 h, urgency: "
      "today, why: x}\n"
      "  silent: {concerns: sensor, when: time since reading above 6 h, urgency: "
      "today, why: x}\n"
      "  broken: {}\n";
  std::vector<Fault> faults = {Fault{"other.yaml", {9, 9}, "earlier", ""}};
  append_rules(book, read_rulebook(more, "second.yaml"), more, "second.yaml", faults);
  REQUIRE(book.size() == 3);
  CHECK(book[2].name == "new");
  REQUIRE(faults.size() >= 3);
  CHECK(faults[0].file == "other.yaml");
  CHECK(
      to_text(faults[1]) ==
      "second.yaml:4:3: the rule `silent` is in a book read before this one; give it another name, "
      "or take the other book off the list\n"
      "    silent: {concerns: sensor, when: time since reading above 6 h, urgency: today, why: x}\n"
      "    ^");
  for (std::size_t i = 2; i < faults.size(); ++i) CHECK(faults[i].at == Mark{5, 3});
}

}  // namespace
}  // namespace torpor::config
