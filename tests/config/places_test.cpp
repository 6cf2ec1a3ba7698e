#include <doctest/doctest.h>

#include "tests/config/faults_of.h"

namespace torpor::config {
namespace {

std::string places_faults(const std::string& section) {
  return faults_of("storeroom: c\nplaces: " + section + "\n");
}

std::string nested_names(int depth, const std::string& name) {
  std::string text = "{}";
  for (int i = 0; i < depth; ++i) text = "{holds: {" + name + ": " + text + "}}";
  return text;
}

TEST_CASE("the tree becomes paths, parents before children, in file order") {
  const SettingsResult result = read_settings(
      "storeroom: c\n"
      "places:\n"
      "  cellar:\n"
      "    volume: 18 m3\n"
      "    holds:\n"
      "      shelf-2: {volume: 400 l}\n"
      "      shelf-1:\n"
      "        holds: {left: }\n"
      "  yard: {outside: true, holds: {roof: {outside: false}}}\n",
      "f");
  CHECK(brief(result.faults) == "");
  const std::vector<PlaceSettings>& places = result.settings.places;
  REQUIRE(places.size() == 6);
  CHECK(places[0].path == "cellar");
  CHECK(places[0].volume_m3 == 18.0);
  CHECK(places[1].path == "cellar/shelf-2");
  CHECK(places[1].volume_m3 == doctest::Approx(0.4));
  CHECK(places[2].path == "cellar/shelf-1");
  CHECK_FALSE(places[2].volume_m3.has_value());
  CHECK(places[3].path == "cellar/shelf-1/left");
  CHECK(places[4].path == "yard");
  CHECK(places[4].outside);
  CHECK(places[5].path == "yard/roof");
  CHECK_FALSE(places[5].outside);
}

TEST_CASE("only a top-level place is outside by its name") {
  const SettingsResult result =
      read_settings("storeroom: c\nplaces: {outside: {}, hut: {holds: {outside: {}}}}\n", "f");
  CHECK(brief(result.faults) == "");
  REQUIRE(result.settings.places.size() == 3);
  CHECK(result.settings.places[0].outside);
  CHECK_FALSE(result.settings.places[1].outside);
  CHECK_FALSE(result.settings.places[2].outside);
}

TEST_CASE("faulty places") {
  const Faulty rows[] = {
      {"{outside: {}, yard: {outside: true}}",
       "2:39: places.yard.outside: `outside` is outside already; only one place can be\n"},
      {"{yard: {outside: true}, outside: {}}",
       "2:33: places.outside: `yard` is outside already; only one place can be\n"},
      {"{outside: {outside: false}}",
       "2:29: places.outside.outside: a top-level place named `outside` is outside; rename the "
       "place "
       "or take this line away\n"},
      {"{a: {outside: yes}}", "2:23: places.a.outside: found `yes`; expected true or false\n"},
      {"{\"\\xE9\": {}, b/c: {}, d: }",
       "2:10: found `é` as the name of a place; expected 1 to 32 letters (a-z, A-Z), digits, - or "
       "_\n"
       "2:22: found `b/c` as the name of a place; expected 1 to 32 letters (a-z, A-Z), digits, - "
       "or "
       "_\n"},
      {"{a: {holds: {b: {}, B: {}}}, A: {}}",
       "2:29: found `B` beside `b`; names that differ only in case are one place: rename one\n"
       "2:38: found `A` beside `a`; names that differ only in case are one place: rename one\n"},
      {"{a: {volume: 18, hold: {}}}",
       "2:22: places.a.volume: found `18`, which has no unit; expected a volume such as `18 m3` or "
       "`400 l`\n"
       "2:26: places.a: `hold` is not a key here; did you mean `holds`?\n"},
      {"{a: 18 m3, b: {holds: [c]}}",
       "2:13: places.a: found `18 m3`; expected {}, {volume: 18 m3} or {holds: {NAME: {}}}\n"
       "2:31: places.b.holds: found a list; expected the places inside, e.g. {shelf-1: {}, "
       "shelf-2: "
       "{}}\n"},
      {"[cellar]",
       "2:9: places: found a list; expected a mapping of places, e.g. {cellar: {holds: {shelf-1: "
       "{}}}}\n"},
  };
  for (const Faulty& row : rows) {
    CAPTURE(row.text);
    CHECK(places_faults(row.text) == row.faults);
  }
}

TEST_CASE("names have up to 32 letters, paths up to 200") {
  CHECK(places_faults("{" + std::string(32, 'a') + ": {}}") == "");
  CHECK(places_faults("{" + std::string(33, 'a') + ": {}}") ==
        "2:10: found `" + std::string(33, 'a') +
            "` as the name of a place; expected 1 to 32 letters (a-z, A-Z), digits, - or _\n");
  // x and 9 names of 20 letters and a slash each: 190; a tenth of 9 letters makes 200, of 10: 201.
  const std::string inner = nested_names(9, "abcdefghijklmnopqrst");
  const auto with_last = [&](const std::string& last) {
    std::string text = inner;
    text.replace(text.find("{}"), 2, "{holds: {" + last + ": {}}}");
    return places_faults("{x: " + text + "}");
  };
  CHECK(with_last("abcdefghi") == "");
  CHECK(with_last("abcdefghij")
            .find("found a path of 201 characters; expected at most 200: shorten "
                  "the names or nest less") != std::string::npos);
}

TEST_CASE("a sensor is not blamed for the faults of its place") {
  CHECK(faults_of("storeroom: c\n"
                  "places: {shelf 1: {}}\n"
                  "sensors: [{id: s, place: shelf 1, topic: t, payload: senml}]\n") ==
        "2:10: found `shelf 1` as the name of a place; expected 1 to 32 letters (a-z, A-Z), "
        "digits, - "
        "or _\n");
  CHECK(faults_of("storeroom: c\n"
                  "places: [a]\n"
                  "sensors: [{id: s, place: a, topic: t, payload: senml}]\n") ==
        "2:9: places: found a list; expected a mapping of places, e.g. {cellar: {holds: {shelf-1: "
        "{}}}}\n");
}

}  // namespace
}  // namespace torpor::config
