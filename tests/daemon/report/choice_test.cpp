#include "daemon/report/choice.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "tests/daemon/report/sample_views.h"

namespace torpor::daemon {
namespace {

namespace culture = rules::culture;
using culture::State;
using nlohmann::json;

constexpr double kUnknown = -1.0;

// A jar of the table; by default asleep, a hundred days old and for use.
struct Row {
  std::string jar;
  rules::Use use = rules::Use::yes;
  double left = 1000.0;        // g; kUnknown: not told
  double wakes_in_h = 1000.0;  // kUnknown: not known
  double age_days = 100.0;
  double progress = 4.0;  // % of the work to waking
  double kinetic = 15.0;  // °C
  State state = State::dormant;
};

Candidate candidate(const Row& row) {
  Candidate made;
  made.jar = sample_jar();
  made.jar.jar = made.jar.standing.jar = row.jar;
  made.jar.standing.state = row.state;
  made.jar.standing.use = row.use;
  made.jar.standing.why = "It is as " + row.jar + " is.";
  if (row.use != rules::Use::yes) {
    made.jar.standing.urgency = rules::Urgency::today;
    made.jar.standing.deed = rules::Advice{rules::Remedy::look, "Look at " + row.jar + ".", {}};
  }
  culture::Figures& figures = made.jar.figures;
  figures.age_days = row.age_days;
  figures.kinetic_temperature = Celsius(row.kinetic);
  figures.wake_progress_percent = culture::Ensemble{row.progress, row.progress, row.progress};
  using Kind = culture::WakeTime::Kind;
  const culture::WakeTime wake = row.wakes_in_h == kUnknown
                                     ? culture::WakeTime{Kind::unknown, 0.0}
                                     : culture::WakeTime{Kind::within, row.wakes_in_h};
  made.jar.standing.time_to_wake = {wake, wake, wake};
  if (row.left != kUnknown) made.left = Grams(row.left);
  return made;
}

ChoiceView ranked(const std::vector<Row>& rows, ChoiceWish wish = {}) {
  std::vector<Candidate> candidates;
  for (const Row& row : rows) candidates.push_back(candidate(row));
  return rank_jars(std::move(candidates), std::move(wish), at("2026-03-02T17:30:00Z"));
}

// "yes B-01, wake test first B-02".
std::string order(const ChoiceView& view) {
  std::string words;
  for (const Choice& choice : view.ranked) {
    words += (words.empty() ? "" : ", ") + std::string(use_name(choice.use())) + ' ' +
             choice.candidate.jar.jar;
  }
  return words;
}

bool gives_reason(const ChoiceView& view, const std::string& jar, const std::string& part) {
  for (const Choice& choice : view.ranked) {
    if (choice.candidate.jar.jar != jar) continue;
    return std::any_of(
        choice.reasons.begin(), choice.reasons.end(),
        [&](const std::string& reason) { return reason.find(part) != std::string::npos; });
  }
  return false;
}

TextContext choice_context() {
  static const LocalTime zone = LocalTime::in_zone("Europe/Vienna").value();
  return {zone, at("2026-03-02T17:30:00Z"), std::nullopt, {}};
}

}  // namespace

TEST_CASE("jars are ranked by their standing, then by what cannot wait") {
  using rules::Use;
  const struct {
    const char* what;
    std::vector<Row> rows;
    const char* expected;
  } table[] = {
      {"of jars for use the nearest to waking first",
       {{"far", Use::yes, 1000, 4000}, {"near", Use::yes, 1000, 300}},
       "yes near, yes far"},
      {"a time to wake that is not known comes last",
       {{"a", Use::yes, 1000, kUnknown}, {"b", Use::yes, 1000, 4000}},
       "yes b, yes a"},
      {"for use before all others, however near to waking",
       {{"hot", Use::wake_test_first, 1000, 50}, {"sound", Use::yes, 1000, 4000}},
       "yes sound, wake test first hot"},
      {"a look goes before a test, and what is not for use is last",
       {{"spoiled", Use::no, 1000, 1},
        {"old", Use::wake_test_first, 1000, 2},
        {"w", Use::look_first, 1000, 3},
        {"s", Use::yes, 1000, 4}},
       "yes s, look first w, wake test first old, no spoiled"},
      {"nothing but its standing says whether it may be used",
       {{"awake", Use::yes, 1000, 1000, 100, 4, 15, State::awake},
        {"asleep", Use::no, 1000, 1000, 100, 4, 15, State::dormant}},
       "yes awake, no asleep"},
      {"as near to waking: more work done first",
       {{"less", Use::yes, 1000, 1000, 100, 4}, {"more", Use::yes, 1000, 1000, 100, 5}},
       "yes more, yes less"},
      {"then the one that was warmer",
       {{"cool", Use::yes, 1000, 1000, 100, 4, 15}, {"warm", Use::yes, 1000, 1000, 100, 4, 16}},
       "yes warm, yes cool"},
      {"then the older, then by name",
       {{"b", Use::yes}, {"a", Use::yes}, {"old", Use::yes, 1000, 1000, 101}},
       "yes old, yes a, yes b"},
      {"retired jars are gone", {{"r", Use::no, 1000, 1000, 100, 4, 15, State::retired}}, ""},
  };
  for (const auto& row : table) {
    CAPTURE(row.what);
    CHECK(order(ranked(row.rows)) == row.expected);
  }
}

TEST_CASE("only jars of the stage are ranked, whatever its case") {
  CHECK(order(ranked({{"a"}}, {"imo-2", {}})) == "yes a");
  CHECK(order(ranked({{"a"}}, {"IMO-3", {}})) == "");
}

TEST_CASE("what is left must cover the need, or two that do together are named") {
  using rules::Use;
  const std::vector<Row> rows = {{"a", Use::yes, 300, 100},
                                 {"b", Use::yes, 250, 200},
                                 {"c", Use::wake_test_first, 400, 300},
                                 {"d", Use::yes, kUnknown, 50}};
  CHECK(order(ranked(rows, {"", Grams(250)})) == "yes a, yes b, yes d, wake test first c");
  CHECK(order(ranked(rows, {"", Grams(251)})) == "yes a, yes d, yes b, wake test first c");
  CHECK(ranked(rows, {"", Grams(400)}).together.empty());

  const ChoiceView two = ranked(rows, {"", Grams(500)});
  CHECK(two.together == std::vector<std::string>{"a", "b"});
  CHECK(two.remark == "No jar alone has 500 g: a and b together have about 550 g.");
  CHECK(gives_reason(two, "a", "It holds less than the 500 g needed."));
  CHECK(gives_reason(two, "d", "What it holds is not known: weigh it"));

  // A sound jar with a doubtful one before two that are both further down.
  CHECK(ranked(rows, {"", Grams(600)}).together == std::vector<std::string>{"a", "c"});
  const ChoiceView none = ranked(rows, {"", Grams(5000)});
  CHECK(none.together.empty());
  CHECK(none.remark == "No two jars have 5000 g together; all that may be used have about 950 g.");
}

TEST_CASE("what is not for use never covers a need, not even together") {
  using rules::Use;
  const ChoiceView view =
      ranked({{"a", Use::no, 900}, {"b", Use::no, 900}, {"c", Use::yes, 100}}, {"", Grams(500)});
  CHECK(order(view) == "yes c, no a, no b");
  CHECK(view.together.empty());
  CHECK(view.remark == "No two jars have 500 g together; all that may be used have about 100 g.");
  CHECK_FALSE(gives_reason(view, "a", "needed"));
  CHECK(ranked({{"a", Use::no, 900}}, {"", Grams(500)}).remark ==
        "No jar that may be used has a known weight.");
}

TEST_CASE("every rank says what its standing says, the deed first, then figures") {
  using rules::Use;
  ChoiceView view = ranked({{"near", Use::yes, 1000, 300},
                            {"far", Use::yes, 1000, 4000},
                            {"hot", Use::wake_test_first, 1000, 900},
                            {"awake", Use::no, 1000, 1}});
  const auto reasons = [&](std::size_t at) { return view.ranked.at(at).reasons; };
  const std::string figures =
      "Its air was 15.0 °C in the kinetic mean; 4 % of the work to waking is done, by estimate; "
      "water condensed inside for about 2 hours.";
  CHECK(reasons(0) == std::vector<std::string>{
                          "Use it before the others: of those that sleep it is nearest to waking.",
                          "It is as near is.", figures});
  CHECK(reasons(1) == std::vector<std::string>{"It is as far is.", figures});
  CHECK(reasons(2) == std::vector<std::string>{"Today: Look at hot.", "It is as hot is.", figures});
  CHECK(reasons(3) == std::vector<std::string>{"Today: Look at awake.", "It is as awake is."});
  // One alone is the nearest to nothing, nor is one that does not cover the need.
  view = ranked({{"near", Use::yes, 100, 300}, {"far", Use::yes, 1000, 4000}}, {"", Grams(500)});
  CHECK_FALSE(gives_reason(view, "far", "before the others"));
}

TEST_CASE("a deed that waits for the day of use has no urgency to name") {
  Candidate doubtful = candidate({"a", rules::Use::wake_test_first});
  doubtful.jar.standing.urgency.reset();
  const ChoiceView view = rank_jars({doubtful}, {}, doubtful.jar.as_of);
  CHECK(view.ranked.at(0).reasons.at(0) == "Look at a.");
}

TEST_CASE("a candidate has what was told to be left, and when it was tested last") {
  Jar child;
  child.made.jar = "B-08";
  child.split = SplitOff{"B-07", Grams(600), at("2026-02-01T12:00:00Z")};
  const auto test_at = [](const char* when, std::uint64_t entry) {
    return JarEvent{at(when), entry, culture::Observation(culture::WakeTest{true})};
  };
  CHECK_FALSE(candidate_of(child, sample_jar()).tested_at.has_value());
  CHECK(candidate_of(child, sample_jar()).left == Grams(600));
  child.events = {test_at("2026-02-10T12:00:00Z", 4), test_at("2026-02-20T12:00:00Z", 5),
                  // after the moment that is shown
                  test_at("2026-03-10T12:00:00Z", 6)};
  CHECK(candidate_of(child, sample_jar()).tested_at == at("2026-02-20T12:00:00Z"));
}

TEST_CASE("a choice fits 80 columns and lets no markup or control character through") {
  Candidate odd = candidate({"B-07"});
  odd.jar.place = "north-cellar/old-vault/rack-3/<b>shelf-12</b>\x1B[31m and then some more of it";
  odd.jar.stage = "IMO-2 of the very old kind";
  ChoiceWish wish{"", Grams(5000)};
  const std::string text = choice_text(
      rank_jars({odd, candidate({"B-08", rules::Use::wake_test_first})}, wish, odd.jar.as_of),
      choice_context());
  CHECK(text.find('\x1B') == std::string::npos);
  CHECK(text.find("Test first: it may not live") != std::string::npos);
  for (std::size_t begin = 0; begin < text.size();) {
    const std::size_t end = text.find('\n', begin);
    CHECK(end - begin <= 86);  // 80 columns: ° and \x1b as written take more bytes
    begin = end + 1;
  }
}

TEST_CASE("nothing to choose from is said, not shown as an empty page") {
  CHECK(choice_text(ranked({}), choice_context()).find("There is none") != std::string::npos);
}

TEST_CASE("a choice as JSON has every figure it was made by") {
  const json tree = json::parse(choice_json(
      ranked({{"a", rules::Use::yes, 300, 700}, {"b", rules::Use::wake_test_first, 400, kUnknown}},
             {"IMO-2", Grams(600)})));
  CHECK(tree["need_g"] == 600.0);
  CHECK(tree["stage"] == "IMO-2");
  CHECK(tree["together"] == json::parse(R"(["a","b"])"));
  REQUIRE(tree["ranked"].size() == 2);
  CHECK(tree["ranked"][0]["jar"] == "a");
  CHECK(tree["ranked"][0]["use"] == "yes");
  CHECK(tree["ranked"][0]["state"] == "dormant");
  CHECK(tree["ranked"][0]["deed"].is_null());
  CHECK(tree["ranked"][0]["left_g"] == 300.0);
  CHECK(tree["ranked"][0]["covers_need"] == false);
  CHECK(tree["ranked"][0]["time_to_wake_h"] == 700.0);
  CHECK(tree["ranked"][0]["inner_dew_h"] == 2.0);
  CHECK(tree["ranked"][1]["time_to_wake_h"].is_null());
  CHECK(tree["ranked"][1]["use"] == "wake test first");
  CHECK(tree["ranked"][1]["deed"] == "Look at b.");
  CHECK(tree["ranked"][1]["reasons"][0] == "Today: Look at b.");
}

}  // namespace torpor::daemon
