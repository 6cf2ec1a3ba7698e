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

// A jar of the table; by default asleep, a hundred days old and sound.
struct Row {
  std::string jar;
  State state = State::dormant;
  double left = 1000.0;        // g; kUnknown: not told
  double wakes_in_h = 1000.0;  // kUnknown: not known
  double age_days = 100.0;
  double hot_hours = 0.0;  // above 40 °C
  bool spoilt = false;
  std::optional<bool> lively = {};
  double tested_days_ago = 0.0;
};

Candidate candidate(const Row& row) {
  Candidate made;
  made.jar = sample_jar();
  made.jar.jar = row.jar;
  made.jar.verdict.state = row.state;
  made.jar.verdict.figures.age_days = row.age_days;
  made.jar.verdict.figures.hours_above[1] = row.hot_hours;
  using Kind = culture::WakeTime::Kind;
  const culture::WakeTime wake = row.wakes_in_h == kUnknown
                                     ? culture::WakeTime{Kind::unknown, 0.0}
                                     : culture::WakeTime{Kind::within, row.wakes_in_h};
  made.jar.verdict.time_to_wake = {wake, wake, wake};
  if (row.left != kUnknown) made.left = Grams(row.left);
  made.spoilt = row.spoilt;
  made.lively = row.lively;
  if (row.lively) {
    made.tested_at =
        made.jar.as_of - std::chrono::hours(static_cast<int>(24 * row.tested_days_ago));
  }
  return made;
}

ChoiceView ranked(const std::vector<Row>& rows, ChoiceWish wish = {}) {
  std::vector<Candidate> candidates;
  for (const Row& row : rows) candidates.push_back(candidate(row));
  return rank_jars(std::move(candidates), std::move(wish), at("2026-03-02T17:30:00Z"));
}

// "use B-01, test_first B-02".
std::string order(const ChoiceView& view) {
  std::string words;
  for (const Choice& choice : view.ranked) {
    words += (words.empty() ? "" : ", ") + std::string(advice_name(choice.advice)) + ' ' +
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

TEST_CASE("jars are ranked by whether they may be used, then by what cannot wait") {
  const struct {
    const char* what;
    std::vector<Row> rows;
    const char* expected;
  } table[] = {
      {"of sound jars the nearest to waking first",
       {{"far", State::dormant, 1000, 4000}, {"near", State::dormant, 1000, 300}},
       "use near, use far"},
      {"a time to wake that is not known comes last",
       {{"a", State::dormant, 1000, kUnknown}, {"b", State::dormant, 1000, 4000}},
       "use b, use a"},
      {"asleep before doubtful, however near to waking",
       {{"hot", State::doubtful, 1000, 50, 100, 5.0}, {"sound", State::dormant, 1000, 4000}},
       "use sound, test_first hot"},
      {"what may be waking is looked at, after what sleeps and before what is tested",
       {{"w", State::waking},
        {"d", State::due},
        {"u", State::unwatched},
        {"old", State::doubtful},
        {"s", State::dormant}},
       "use s, look_first d, look_first u, look_first w, test_first old"},
      {"twelve months without a test ask for one, whatever the profile says",
       {{"365", State::dormant, 1000, 1000, 365.0}, {"366", State::dormant, 1000, 1000, 366.0}},
       "use 365, test_first 366"},
      {"a lively test counts for a year",
       {{"old", State::dormant, 1000, 1000, 800.0, 0.0, false, true, 300.0}},
       "use old"},
      {"and no longer",
       {{"old", State::dormant, 1000, 1000, 800.0, 0.0, false, true, 400.0}},
       "test_first old"},
      {"a quiet test, waking, settling and rot are not recommended, rot last",
       {{"rot", State::dormant, 1000, 1, 100, 0.0, true},
        {"quiet", State::doubtful, 1000, 1000, 100, 0.0, false, false, 1.0},
        {"awake", State::awake, 1000, 0},
        {"new", State::settling, 1000, 2000},
        {"ok", State::dormant}},
       "use ok, not_now awake, not_now quiet, not_now new, never rot"},
      {"retired jars are gone", {{"r", State::retired}}, ""},
  };
  for (const auto& row : table) {
    CAPTURE(row.what);
    CHECK(order(ranked(row.rows)) == row.expected);
  }
}

TEST_CASE("only jars of the stage are ranked, whatever its case") {
  CHECK(order(ranked({{"a"}}, {"imo-2", {}})) == "use a");
  CHECK(order(ranked({{"a"}}, {"IMO-3", {}})) == "");
}

TEST_CASE("what is left must cover the need, or two that do together are named") {
  const std::vector<Row> rows = {{"a", State::dormant, 300, 100},
                                 {"b", State::dormant, 250, 200},
                                 {"c", State::doubtful, 400, 300},
                                 {"d", State::dormant, kUnknown, 50}};
  CHECK(order(ranked(rows, {"", Grams(250)})) == "use a, use b, use d, test_first c");
  CHECK(order(ranked(rows, {"", Grams(251)})) == "use a, use d, use b, test_first c");
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

TEST_CASE("what is awake or spoilt never covers a need, not even together") {
  const ChoiceView view = ranked({{"a", State::awake, 900},
                                  {"b", State::dormant, 900, 100, 100, 0.0, true},
                                  {"c", State::dormant, 100}},
                                 {"", Grams(500)});
  CHECK(view.together.empty());
  CHECK(gives_reason(view, "b", "keep it from food, do not use or share"));
}

TEST_CASE("every rank says why") {
  const ChoiceView view = ranked({{"near", State::dormant, 1000, 300},
                                  {"far", State::dormant, 1000, 4000},
                                  {"hot", State::doubtful, 1000, 900, 500.0, 7.0},
                                  {"awake", State::awake}});
  CHECK(gives_reason(view, "near", "Use first: of those that sleep soundly it is nearest"));
  CHECK_FALSE(gives_reason(view, "far", "Use first"));
  CHECK(gives_reason(view, "far", "Waking in about"));
  CHECK(gives_reason(view, "far", "4 % of the work to waking is done, by estimate"));
  CHECK(gives_reason(view, "far", "water condensed inside for about 2 hours"));
  CHECK(gives_reason(view, "hot", "above 40 °C for 7 h"));
  CHECK(gives_reason(view, "hot", "about 16 months without a wake test"));
  CHECK(gives_reason(view, "hot", "`wake test hot lively`"));
  CHECK(gives_reason(view, "awake", "It is awake"));
}

TEST_CASE("what spoilt before a split spoilt the jar that was split off") {
  Jar parent, child;
  parent.made.jar = "B-07";
  child.made.jar = "B-08";
  child.split = SplitOff{"B-07", Grams(600), at("2026-02-01T12:00:00Z")};
  const auto look = [](culture::Sign sign) { return culture::Observation(culture::Look{{sign}}); };
  const std::vector<Jar> line = {parent};
  CHECK_FALSE(candidate_of(child, line, sample_jar()).spoilt);
  const auto spoilt_at = [&](const char* when) {
    Jar noted = parent;
    noted.events.push_back({at(when), 3, look(culture::Sign::pink_growth)});
    const std::vector<Jar> noted_line = {noted};
    return candidate_of(child, noted_line, sample_jar()).spoilt;
  };
  CHECK(spoilt_at("2026-02-01T12:00:00Z"));
  CHECK_FALSE(spoilt_at("2026-02-02T12:00:00Z"));
  child.events.push_back({at("2026-02-10T12:00:00Z"), 4, look(culture::Sign::bubbling)});
  CHECK_FALSE(candidate_of(child, line, sample_jar()).spoilt);
  CHECK(candidate_of(child, line, sample_jar()).left == Grams(600));
  child.events.push_back({at("2026-02-11T12:00:00Z"), 5, look(culture::Sign::rotten_smell)});
  CHECK(candidate_of(child, line, sample_jar()).spoilt);
}

TEST_CASE("a choice fits 80 columns and lets no markup or control character through") {
  Candidate odd = candidate({"B-07"});
  odd.jar.place = "north-cellar/old-vault/rack-3/<b>shelf-12</b>\x1B[31m and then some more of it";
  odd.jar.stage = "IMO-2 of the very old kind";
  ChoiceWish wish{"", Grams(5000)};
  const std::string text =
      choice_text(rank_jars({odd, candidate({"B-08", State::doubtful})}, wish, odd.jar.as_of),
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
  const json tree = json::parse(
      choice_json(ranked({{"a", State::dormant, 300, 700}, {"b", State::doubtful, 400, kUnknown}},
                         {"IMO-2", Grams(600)})));
  CHECK(tree["need_g"] == 600.0);
  CHECK(tree["stage"] == "IMO-2");
  CHECK(tree["together"] == json::parse(R"(["a","b"])"));
  REQUIRE(tree["ranked"].size() == 2);
  CHECK(tree["ranked"][0]["jar"] == "a");
  CHECK(tree["ranked"][0]["advice"] == "use");
  CHECK(tree["ranked"][0]["left_g"] == 300.0);
  CHECK(tree["ranked"][0]["covers_need"] == false);
  CHECK(tree["ranked"][0]["time_to_wake_h"] == 700.0);
  CHECK(tree["ranked"][0]["inner_dew_h"] == 2.0);
  CHECK(tree["ranked"][1]["time_to_wake_h"].is_null());
  CHECK(tree["ranked"][1]["reasons"].size() >= 2);
}

}  // namespace torpor::daemon
