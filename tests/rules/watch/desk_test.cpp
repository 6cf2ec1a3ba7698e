// One cause is one alert, a jar has one line, and notices join only where they ask for the same.
// Every story is told again with a restart after each of its steps: nothing may come out otherwise.
#include <doctest/doctest.h>

#include <algorithm>
#include <memory>
#include <sstream>

#include "tests/rules/watch/story.h"

namespace torpor::rules {
namespace {

// A rule that is over at once when `until` holds.
Rule desk_rule(std::string name, std::string concerns, std::string when, std::string until,
               std::string urgency, std::vector<Remedy> remedies,
               std::vector<std::string> explains = {}) {
  Rule rule = a_rule(std::move(name), std::move(concerns), std::move(when), std::move(until),
                     std::move(urgency));
  rule.remedies = std::move(remedies);
  rule.explains = std::move(explains);
  return rule;
}

Rule warm_place(std::vector<Remedy> remedies = {Remedy::shade}) {
  return desk_rule("warm", "place", "temperature above 27 °C", "temperature below 25 °C", "today",
                   std::move(remedies), {"wet"});
}
Rule wet_jar(std::string urgency = "today", std::vector<Remedy> remedies = {Remedy::look},
             std::string until = "humidity below 75 %") {
  return desk_rule("wet", "jar", "humidity above 80 %", std::move(until), std::move(urgency),
                   std::move(remedies));
}
Rule hot_jar(std::string urgency = "today", std::vector<Remedy> remedies = {Remedy::wake_test}) {
  return desk_rule("hot", "jar", "temperature above 27 °C", "temperature below 25 °C",
                   std::move(urgency), std::move(remedies));
}

// What came of a story: changes and the first words of notices in the order of its steps, then
// what is to be done.
struct Came {
  std::string changes, notices, todo;
};

void note_came(Came& came, const Effects& effects) {
  const std::string changes = changes_text(effects);
  if (!changes.empty()) came.changes += (came.changes.empty() ? "" : "; ") + changes;
  for (const Notice& notice : effects.notices) {
    came.notices += (came.notices.empty() ? "" : "\n") + notice.line;
  }
}

Came told_with_restart(const WatchSettings& settings, const std::string& story, int restart) {
  auto watch = std::make_unique<Watch>(settings);
  Came came;
  std::stringstream steps(story);
  int at = 0;
  for (std::string step; std::getline(steps, step, ';'); ++at) {
    note_came(came, tell(*watch, step));
    if (at != restart) continue;
    const std::string bytes = watch->snapshot();
    watch = std::make_unique<Watch>(settings);
    const auto restored = watch->restore(bytes);
    REQUIRE_MESSAGE(restored, (restored ? "" : restored.error()));
  }
  came.todo = watch->todo();
  return came;
}

Came after_story(RuleBook book, const std::string& story) {
  const WatchSettings settings = settings_of(std::move(book));
  const Came undisturbed = told_with_restart(settings, story, -1);
  const auto steps = static_cast<int>(std::count(story.begin(), story.end(), ';')) + 1;
  for (int restart = 0; restart < steps; ++restart) {
    CAPTURE(story);
    CAPTURE(restart);
    const Came again = told_with_restart(settings, story, restart);
    CHECK(again.changes == undisturbed.changes);
    CHECK(again.notices == undisturbed.notices);
    CHECK(again.todo == undisturbed.todo);
  }
  return undisturbed;
}

std::size_t lines_in(const std::string& text) {
  return text.empty() ? 0
                      : static_cast<std::size_t>(std::count(text.begin(), text.end(), '\n')) + 1;
}

// The alerts that are open at the end of an undisturbed story.
std::vector<Alert> open_after(RuleBook book, const std::string& story) {
  Watch watch(settings_of(std::move(book)));
  (void)tell(watch, story);
  return watch.open_alerts();
}

constexpr const char* kLookAtB =
    "Look at B and smell it; never taste, it is not food. Then tell `B all well`, or what you "
    "found.";

}  // namespace

// ---- symptoms -----------------------------------------------------------------------------------

TEST_CASE("a symptom that is met while its cause stands joins it and raises nothing") {
  const RuleBook book = {warm_place(), wet_jar()};
  const std::string story = "0 +B=cellar s:t20 s:h60; 5 s:t28; 10 s:t28 s:h85";
  const Came came = after_story(book, story);
  CHECK(came.changes == "5 raised warm cellar; 10 updated warm cellar");
  CHECK(lines_in(came.notices) == 1);
  const auto open = open_after(book, story);
  REQUIRE(open.size() == 1);
  CHECK(open[0].symptoms ==
        std::vector<Symptom>{{"B", "wet", "Jar B in cellar: humidity 85 %, above 80 %."}});
}

TEST_CASE("a symptom that stood before its cause ends in it") {
  const RuleBook book = {warm_place(), wet_jar()};
  const std::string story = "0 +B=cellar s:t20 s:h60; 5 s:t20 s:h85; 10 s:t28 s:h85";
  const Came came = after_story(book, story);
  CHECK(came.changes == "5 raised wet B; 10 ended wet B; 10 raised warm cellar");
  const auto open = open_after(book, story);
  REQUIRE(open.size() == 1);
  REQUIRE(open[0].symptoms.size() == 1);
  CHECK(open[0].symptoms[0].rule == "wet");
}

TEST_CASE("met in one moment, the cause alone is raised") {
  CHECK(after_story({warm_place(), wet_jar()}, "0 +B=cellar s:t20 s:h60; 5 s:t28 s:h85").changes ==
        "5 raised warm cellar");
}

TEST_CASE("a cause explains jars that it lists and no other") {
  const RuleBook book = {warm_place(), wet_jar()};
  CHECK(after_story(book, "0 +B=cellar/shelf-1 +C=cellar/shelf-2; 5 s1:t28 s1:h85 s2:t20 s2:h85")
            .changes == "5 raised warm cellar/shelf-1; 5 raised wet C");
}

TEST_CASE("a symptom comes back when its cause has eased and it still holds") {
  const RuleBook book = {warm_place(), wet_jar()};
  const std::string begin = "0 +B=cellar s:t20 s:h60; 5 s:t28 s:h85; 15 s:t24 s:h85;";
  CHECK(after_story(book, begin + "40 s:t20 s:h85; 60 s:t20 s:h85; 74 tick").changes ==
        "5 raised warm cellar; 15 eased warm cellar; 15 raised wet B");
  const Came came = after_story(book, begin + "40 s:t20 s:h85; 60 s:t20 s:h85; 76 tick");
  CHECK(came.changes ==
        "5 raised warm cellar; 15 eased warm cellar; 15 raised wet B; 75 ended warm cellar");
  CHECK(came.todo == "Today: B (cellar): " + std::string(kLookAtB));
}

TEST_CASE("a symptom that only waits for its `until` when its cause ends is not said any more") {
  const RuleBook book = {warm_place(),
                         wet_jar("today", {Remedy::look}, "humidity below 70 % lasting 5 h")};
  const std::string begin =
      "0 +B=cellar s:t20 s:h60; 5 s:t28 s:h85; 15 s:t24 s:h78; 40 s:t20 s:h78; 60 s:t20 s:h78;"
      "80 s:t20 s:h78";
  CHECK(after_story(book, begin).changes ==
        "5 raised warm cellar; 15 eased warm cellar; 75 ended warm cellar");
  CHECK(after_story(book, begin).todo == "Nothing to do.");
  // Met again before its `until` was: by itself now, for nothing explains it.
  CHECK(after_story(book, begin + "; 90 s:t20 s:h85").changes ==
        "5 raised warm cellar; 15 eased warm cellar; 75 ended warm cellar; 90 raised wet B");
}

TEST_CASE("a symptom that is over leaves its cause") {
  const RuleBook book = {warm_place(), wet_jar()};
  const std::string story = "0 +B=cellar s:t20 s:h60; 5 s:t28 s:h85; 15 s:t28 s:h70";
  CHECK(after_story(book, story).changes == "5 raised warm cellar; 15 updated warm cellar");
  CHECK(open_after(book, story).at(0).symptoms.empty());
}

TEST_CASE("a jar that leaves the alerted place takes its symptoms along") {
  const RuleBook book = {warm_place(), wet_jar()};
  const Came came = after_story(book,
                                "0 +B=cellar/shelf-1 +C=cellar/shelf-1 s2:t20 s2:h85;"
                                "5 s1:t28 s1:h85 s2:t20 s2:h85; 10 +B=cellar/shelf-2");
  CHECK(came.changes ==
        "5 raised warm cellar/shelf-1; 10 updated warm cellar/shelf-1; 10 raised wet B");
}

TEST_CASE("the jar's own cause explains before its room's") {
  RuleBook book = {warm_place(), wet_jar(), hot_jar()};
  book[2].explains = {"wet"};
  const std::string story = "0 +B=cellar s:t20 s:h60; 5 s:t28 s:h85";
  for (const Alert& alert : open_after(book, story)) {
    CAPTURE(alert.rule);
    CHECK(alert.symptoms.size() == (alert.rule == "hot" ? 1 : 0));
  }
  (void)after_story(book, story);
}

// ---- what spoils --------------------------------------------------------------------------------

TEST_CASE("what spoils a jar takes in what it shows, until the entry is withdrawn") {
  const RuleBook book = {desk_rule("spoiled", "jar", "spoiled at least 1", "spoiled below 1",
                                   "today", {Remedy::carry_out}, {"wet"}),
                         wet_jar()};
  const std::string begin = "0 +B=cellar s:t20 s:h60; 5 s:t20 s:h85; 10 !B;";
  Came came = after_story(book, begin);
  CHECK(came.changes == "5 raised wet B; 10 ended wet B; 10 raised spoiled B");
  CHECK(came.notices ==
        "Today: Jar B in cellar: humidity 85 %, above 80 %. " + std::string(kLookAtB) +
            "\nToday: Jar B in cellar: Green growth was found in it (entry 7). Keep B from food, "
            "close it, carry it out and wash your hands. Do not sniff or scrape it: its dust harms "
            "the lungs. Then tell `retire B because \"spoiled\"`.");
  // While it stands nothing else is said of the jar.
  came = after_story(book, begin + "20 s:t20 s:h60; 25 s:t20 s:h85");
  CHECK(lines_in(came.notices) == 2);
  CHECK(lines_in(came.todo) == 1);
  // Withdrawn: over at once, and what it shows is its own again.
  CHECK(after_story(book, begin + "20 ~B; 30 s:h85; 55 s:h85; 79 s:h85; 81 tick").changes ==
        "5 raised wet B; 10 ended wet B; 10 raised spoiled B; 20 eased spoiled B; "
        "20 raised wet B; 80 ended spoiled B");
}

TEST_CASE("a spoiled jar is no concern of its room's air") {
  const RuleBook book = {warm_place()};
  CHECK(open_after(book, "0 +B=cellar +C=cellar; 5 !B; 10 s:t28").at(0).jars ==
        std::vector<std::string>{"C"});
  CHECK(open_after(book, "0 +B=cellar +C=cellar; 10 s:t28; 15 !B").at(0).jars ==
        std::vector<std::string>{"C"});
  CHECK(open_after(book, "0 +B=cellar +C=cellar; 5 !B; 10 s:t28; 15 ~B").at(0).jars ==
        std::vector<std::string>{"B", "C"});
}

TEST_CASE("the standing of a spoiled jar has one deed, and is free again when it is withdrawn") {
  Watch watch(settings_of({wet_jar()}));
  (void)tell(watch, "0 +B=cellar s:t20 s:h60; 5 s:t20 s:h85; 10 !B");
  auto standing = watch.jar_standing("B");
  REQUIRE(standing);
  CHECK(standing->use == Use::no);
  CHECK(standing->deed->remedy == Remedy::carry_out);
  (void)tell(watch, "20 ~B");
  standing = watch.jar_standing("B");
  CHECK(standing->use == Use::look_first);
  CHECK(standing->deed->remedy == Remedy::look);
  (void)tell(watch, "30 -B");
  CHECK_FALSE(watch.jar_standing("B").has_value());
  CHECK_FALSE(watch.jar_standing("Z").has_value());
}

// ---- a jar's line -------------------------------------------------------------------------------

TEST_CASE("of a jar's alerts only the one that leads is said, and stands in what is to be done") {
  // hot leads: it is older.
  const Came came =
      after_story({hot_jar(), wet_jar()}, "0 +B=cellar s:t20 s:h60; 5 s:t28 s:h60; 10 s:t28 s:h85");
  CHECK(came.changes == "5 raised hot B; 10 raised wet B");
  CHECK(lines_in(came.notices) == 1);
  CHECK(came.notices.find("temperature 28.0 °C") != std::string::npos);
  CHECK(came.todo.find("Today: B (cellar): Test a spoonful of B") == 0);
  CHECK(lines_in(came.todo) == 1);
}

TEST_CASE("what is more urgent speaks at once, what is less stays silent") {
  const std::string story = "0 +B=cellar s:t20 s:h60; 5 s:t28 s:h60; 10 s:t28 s:h85";
  const Came more = after_story({hot_jar("this-week"), wet_jar("today")}, story);
  CHECK(lines_in(more.notices) == 2);
  CHECK(more.notices.find("\nToday: Jar B in cellar: humidity 85 %") != std::string::npos);
  CHECK(more.todo == "Today: B (cellar): " + std::string(kLookAtB));
  CHECK(lines_in(after_story({hot_jar("today"), wet_jar("this-week")}, story).notices) == 1);
}

TEST_CASE("when the leader has passed the next one speaks, unless the same was asked for already") {
  const std::string story =
      "0 +B=cellar s:t20 s:h60; 5 s:t28 s:h60; 10 s:t28 s:h85; 20 s:t24 s:h85; 30 s:t24 s:h85";
  const Came other = after_story({hot_jar("today", {Remedy::wake_test}), wet_jar()}, story);
  CHECK(other.changes == "5 raised hot B; 10 raised wet B; 20 eased hot B");
  CHECK(lines_in(other.notices) == 2);
  CHECK(other.notices.find("\nToday (since 00:10): Jar B in cellar: humidity 85 %") !=
        std::string::npos);
  const Came same = after_story({hot_jar("today", {Remedy::look}), wet_jar()}, story);
  CHECK(same.changes == other.changes);
  CHECK(lines_in(same.notices) == 1);
  CHECK(same.todo == "Today: B (cellar): " + std::string(kLookAtB));
  // Asked for sooner than it was said, it is said.
  const Came sooner = after_story({hot_jar("this-week", {Remedy::look}), wet_jar("today")}, story);
  CHECK(lines_in(sooner.notices) == 2);
}

TEST_CASE("once nothing stands of a jar the same deed is news again") {
  const Came came =
      after_story({hot_jar("today", {Remedy::look}), wet_jar()},
                  "0 +B=cellar s:t20 s:h60; 5 s:t28 s:h60; 10 s:t24 s:h60; 20 s:t24 s:h85");
  CHECK(came.changes == "5 raised hot B; 10 eased hot B; 20 raised wet B");
  CHECK(lines_in(came.notices) == 2);
}

TEST_CASE("what its room asks for is said beside the jar's own, unless it is more urgent") {
  RuleBook book = {warm_place(), wet_jar()};
  book[0].explains.clear();
  const std::string story = "0 +B=cellar s:t20 s:h60; 5 s:t28 s:h85";
  CHECK(lines_in(after_story(book, story).notices) == 2);
  book[0].urgency = Urgency::now;
  CHECK(lines_in(after_story(book, story).notices) == 1);
}

// ---- places and what is to be done --------------------------------------------------------------

TEST_CASE("a place without a jar, and outside, ask for nothing and are not said") {
  const RuleBook book = {warm_place({Remedy::move, Remedy::shade})};
  // Jars elsewhere.
  const std::string empty = "0 +B=cellar/shelf-1; 5 s2:t28";
  CHECK(after_story(book, empty).changes == "5 raised warm cellar/shelf-2");
  CHECK(after_story(book, empty).notices == "");
  CHECK(after_story(book, empty).todo == "Nothing to do.");
  CHECK(open_after(book, empty).at(0).remedies.empty());
  // No jar anywhere: somebody is trying it out; nothing is asked of jars.
  const std::string trial = "5 s2:t28";
  CHECK(lines_in(after_story(book, trial).notices) == 1);
  REQUIRE(open_after(book, trial).at(0).remedies.size() == 1);
  CHECK(open_after(book, trial).at(0).remedies[0].remedy == Remedy::shade);
  for (const std::string story : {"5 o:t28", "0 +B=cellar/shelf-1; 5 o:t28"}) {
    CAPTURE(story);
    CHECK(after_story(book, story).changes == "5 raised warm outside");
    CHECK(after_story(book, story).notices == "");
    CHECK(after_story(book, story).todo == "Nothing to do.");
    CHECK(open_after(book, story).at(0).remedies.empty());
  }
  // The first jar that comes there makes it news; the last that leaves takes its remedies along.
  CHECK(lines_in(after_story(book, empty + "; 10 +C=cellar/shelf-2").notices) == 1);
  CHECK(after_story(book, empty + "; 10 +C=cellar/shelf-2; 12 +C=cellar/shelf-1").todo ==
        "Nothing to do.");
  CHECK(open_after(book, empty + "; 10 +C=cellar/shelf-2; 12 +C=cellar/shelf-1")
            .at(0)
            .remedies.empty());
}

TEST_CASE("notices of two rooms join only where they ask for the same, word for word") {
  const RuleBook book = {desk_rule("damp", "place", "humidity above 65 %", "humidity below 60 %",
                                   "today", {Remedy::vent})};
  const std::string begin = "0 +B=cellar/shelf-1 +C=cellar/shelf-2 o:t10 o:h80;";
  const Came same = after_story(book, begin + "5 s1:t20 s1:h70 s2:t20 s2:h70");
  CHECK(lines_in(same.notices) == 1);
  CHECK(same.notices.find("Likewise cellar/shelf-2.") != std::string::npos);
  CHECK(lines_in(same.todo) == 2);
  // One is to be aired, the other kept shut.
  const Came other = after_story(book, begin + "5 s1:t20 s1:h70 s2:t8 s2:h70");
  CHECK(lines_in(other.notices) == 2);
  CHECK(other.notices.find("Likewise") == std::string::npos);
  CHECK(other.notices.find("Air the room now") != std::string::npos);
  CHECK(other.notices.find("Keep the room shut now") != std::string::npos);
  // The same deed with other amounts is another.
  CHECK(lines_in(after_story(book, begin + "5 s1:t20 s1:h70 s2:t20 s2:h75").notices) == 2);
}

TEST_CASE("what was put off is not to be done; what fits no more in 400 bytes is counted") {
  Watch watch(settings_of({wet_jar()}));
  (void)tell(watch, "0 +B=cellar s:t20 s:h60; 5 s:t20 s:h85");
  REQUIRE(watch.open_alerts().size() == 1);
  (void)watch.step(minute(6), DeferInput{watch.open_alerts()[0].number, minute(400), "busy", ""});
  CHECK(watch.todo() == "Nothing to do.");

  const Came came =
      after_story({wet_jar()},
                  "0 +B1=cellar +B2=cellar +B3=cellar +B4=cellar +B5=cellar +B6=cellar "
                  "s:t20 s:h60; 5 s:t20 s:h85");
  CHECK(came.todo.size() <= kLongestTodo);
  CHECK(came.todo.find("Today: B1 (cellar): Look at B1") == 0);
  const auto shown = lines_in(came.todo) - 1;
  CHECK(shown >= 2);
  CHECK(came.todo.ends_with("\nAnd " + std::to_string(6 - shown) + " more."));
}

}  // namespace torpor::rules
