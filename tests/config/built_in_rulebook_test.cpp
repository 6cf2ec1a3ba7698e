#include <doctest/doctest.h>

#include <algorithm>
#include <map>

#include "config/rulebook.h"
#include "tests/config/faults_of.h"

namespace torpor::config {
namespace {

TEST_CASE("the built-in rule book reads without fault") {
  const RuleBookResult result = read_rulebook(built_in_rulebook(), "built-in");
  CHECK(brief(result.faults) == "");
  std::vector<std::string> names;
  for (const rules::Rule& rule : result.rules) names.push_back(rule.name);
  CHECK(names == std::vector<std::string>{"harmful-heat",
                                          "warm",
                                          "fast-rise",
                                          "long-warmth",
                                          "damp",
                                          "spoiled",
                                          "self-heating",
                                          "gas-under-lid",
                                          "awake",
                                          "due",
                                          "waking",
                                          "wakes-soon",
                                          "damp-topping",
                                          "buffer-low",
                                          "inner-dew",
                                          "too-little-sugar",
                                          "far-too-little-sugar",
                                          "left-open",
                                          "settling-look",
                                          "silent-sensor",
                                          "stuck-sensor",
                                          "erring-sensor",
                                          "disagreeing-sensor",
                                          "drifting-sensor",
                                          "low-battery",
                                          "broker-lost",
                                          "disk-nearly-full",
                                          "clock-stepped"});
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

TEST_CASE("what spoils explains all that such a jar shows but gas under its lid and its own heat") {
  const rules::RuleBook book = read_rulebook(built_in_rulebook(), "built-in").rules;
  const auto named = [&](std::string_view name) {
    return std::find_if(book.begin(), book.end(),
                        [&](const rules::Rule& rule) { return rule.name == name; });
  };
  REQUIRE(named("spoiled") != book.end());
  const rules::Rule& spoiled = *named("spoiled");
  CHECK(spoiled.concerns == rules::Scope::jar);
  CHECK(spoiled.urgency == rules::Urgency::today);
  CHECK(spoiled.remedies == std::vector{rules::Remedy::carry_out});
  std::vector<std::string> left;
  for (const rules::Rule& rule : book) {
    const bool explained = std::find(spoiled.explains.begin(), spoiled.explains.end(), rule.name) !=
                           spoiled.explains.end();
    if (rule.concerns == rules::Scope::jar && !explained && rule.name != "spoiled") {
      left.push_back(rule.name);
    }
  }
  CHECK(left == std::vector<std::string>{"self-heating", "gas-under-lid"});
}

TEST_CASE("a built-in rule explains jar rules of the book only, and none explains its explainer") {
  const rules::RuleBook book = read_rulebook(built_in_rulebook(), "built-in").rules;
  std::map<std::string, std::vector<std::string>> explains;
  for (const rules::Rule& rule : book) {
    for (const std::string& name : rule.explains) {
      CAPTURE(rule.name);
      CAPTURE(name);
      explains[rule.name].push_back(name);
      CHECK(std::any_of(book.begin(), book.end(), [&](const rules::Rule& other) {
        return other.name == name && other.concerns == rules::Scope::jar;
      }));
    }
  }
  for (const auto& [rule, names] : explains) {
    for (const std::string& name : names) {
      CAPTURE(rule);
      CHECK(std::count(explains[name].begin(), explains[name].end(), rule) == 0);
    }
  }
  using Names = std::vector<std::string>;
  CHECK(explains["warm"] == Names{"wakes-soon"});
  CHECK(explains["long-warmth"] == Names{"wakes-soon"});
  CHECK(explains["damp"] == Names{"damp-topping", "buffer-low"});
  CHECK(explains["too-little-sugar"] ==
        Names{"waking", "wakes-soon", "damp-topping", "buffer-low"});
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
