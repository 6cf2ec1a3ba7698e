#include <doctest/doctest.h>

#include <algorithm>

#include "config/rulebook.h"
#include "tests/config/faults_of.h"

namespace torpor::config {
namespace {

TEST_CASE("the built-in rule book reads without fault") {
  const RuleBookResult result = read_rulebook(built_in_rulebook(), "built-in");
  CHECK(brief(result.faults) == "");
  std::vector<std::string> names;
  for (const rules::Rule& rule : result.rules) names.push_back(rule.name);
  CHECK(names == std::vector<std::string>{"harmful-heat",     "warm",          "fast-rise",
                                          "long-warmth",      "damp",          "self-heating",
                                          "gas-under-lid",    "awake",         "due",
                                          "waking",           "wakes-soon",    "damp-topping",
                                          "buffer-low",       "inner-dew",     "too-little-sugar",
                                          "left-open",        "settling-look", "silent-sensor",
                                          "stuck-sensor",     "erring-sensor", "disagreeing-sensor",
                                          "drifting-sensor",  "low-battery",   "broker-lost",
                                          "disk-nearly-full", "clock-stepped"});
}

TEST_CASE("every built-in rule says when it ends, why, and what to do") {
  for (const rules::Rule& rule : read_rulebook(built_in_rulebook(), "built-in").rules) {
    CAPTURE(rule.name);
    CHECK(rule.until.has_value());
    CHECK(rule.why.size() > 20);
    CHECK(rule.why.back() == '.');
    CHECK_FALSE(rule.remedies.empty());
  }
}

TEST_CASE("only heat above 40 degrees, a jar that heats itself and gas held back ask to act now") {
  for (const rules::Rule& rule : read_rulebook(built_in_rulebook(), "built-in").rules) {
    CAPTURE(rule.name);
    CHECK((rule.urgency == rules::Urgency::now) ==
          (rule.name == "harmful-heat" || rule.name == "self-heating" ||
           rule.name == "gas-under-lid"));
  }
}

TEST_CASE("the book is shown to people: no tab, no line over 100 characters") {
  const std::string_view book = built_in_rulebook();
  CHECK(book.find('\t') == std::string_view::npos);
  CHECK(book.back() == '\n');
  std::size_t longest = 0;
  for (std::size_t at = 0; at < book.size(); at = book.find('\n', at) + 1) {
    const std::string_view line = book.substr(at, book.find('\n', at) - at);
    const auto letters = std::count_if(line.begin(), line.end(), [](char c) {
      return (static_cast<unsigned char>(c) & 0xC0) != 0x80;
    });
    longest = std::max(longest, static_cast<std::size_t>(letters));
  }
  CHECK(longest <= 100);
}

}  // namespace
}  // namespace torpor::config
