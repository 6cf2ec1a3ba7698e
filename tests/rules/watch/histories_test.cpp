// Thousands of random histories, with late, doubled, missing, impossible and out-of-order readings,
// backlogs, moves, silence and restarts: against the plain engine, against itself restarted, and
// rehearsed against live. Whole minutes, and times short enough for all of it to happen.
#include <doctest/doctest.h>

#include <algorithm>
#include <map>
#include <random>
#include <sstream>

#include "tests/rules/watch/plain_engine.h"
#include "tests/rules/watch/story.h"

namespace torpor::rules {
namespace {

class History {
 public:
  // Every other one is calm: mostly readings, and mostly those of before, so that the engine leaves
  // its rules alone for long.
  explicit History(unsigned seed) : random_(seed), calm_(seed % 2 == 0) {}

  WatchSettings settings() {
    WatchSettings settings;
    settings.late = std::chrono::minutes(20);
    settings.reopen_within = std::chrono::minutes(15);
    settings.layout.places = {{"cellar", false},
                              {"cellar/shelf-1", false},
                              {"cellar/shelf-2", false},
                              {"cellar/shelf-3", false},
                              {"outside", true}};
    const char* const sensors[][2] = {{"c", "cellar"},
                                      {"a", "cellar/shelf-1"},
                                      {"b", "cellar/shelf-2"},
                                      {"b2", "cellar/shelf-2"},
                                      {"o", "outside"}};
    for (const auto& [id, place] : sensors) {
      settings.layout.sensors.push_back({id,
                                         place,
                                         "",
                                         Senses::air,
                                         {Quantity::temperature, Quantity::humidity},
                                         std::chrono::minutes(3),
                                         std::chrono::minutes(pick(4, 9))});
    }
    settings.book = {
        a_rule("warm", "place", "temperature above 27 °C", "temperature below 26 °C"),
        a_rule("warm-long", "place", "temperature above 26 °C lasting 6 min"),
        a_rule("close", "place", "(temperature above 26 °C or humidity above 85 %) lasting 4 min",
               "temperature below 26 °C lasting 3 min and humidity below 80 %", "now"),
        a_rule("damp", "place", "not humidity below 80 % and dew point above 22 °C lasting 2 min"),
        a_rule("warmer-out", "place",
               "temperature at outside above 27 °C and temperature below 26 °C"),
        a_rule("drier-out", "place",
               "humidity minus humidity at outside at least 10 % lasting 4 min"),
        a_rule("jar-warm", "jar", "temperature above 26 °C lasting 8 min",
               "temperature at most 25 °C lasting 4 min"),
        a_rule("jar-warmer", "jar", "temperature minus temperature at outside above 1 K"),
        a_rule("jar-damp", "jar",
               "humidity between 75 % and 85 % lasting 3 min or "
               "humidity at outside above 90 % lasting 5 min"),
        a_rule("rising", "place", "rise of temperature over 12 min at least 3 K lasting 2 min"),
        a_rule("warm-in-sum", "place",
               "time with (temperature above 26 °C and not humidity below 70 %) within 24 min "
               "at least 9 min",
               "time with (temperature above 26 °C and not humidity below 70 %) within 24 min "
               "at most 6 min"),
        a_rule("jar-peak", "jar",
               "highest of temperature over 16 min above 27 °C and "
               "lowest of humidity at outside over 12 min below 80 %"),
        a_rule("jar-warm-in-sum", "jar",
               "time with temperature above 25 °C within 20 min at least 12 min",
               "time with temperature above 25 °C within 20 min at most 8 min"),
        a_rule("jar-falls", "jar",
               "temperature minus highest of temperature over 8 min below -2 K"),
        a_rule("silent", "sensor", "time since reading at least 12 min"),
        a_rule("broker", "service", "time since broker at least 7 min",
               "time since broker below 1 min lasting 3 min", "this-week"),
    };
    return settings;
  }

  // With averages, and what the judges say of sensors: for comparing the engine with itself.
  WatchSettings settings_with_averages() {
    WatchSettings all = settings();
    all.book.push_back(a_rule("mean-warm", "place",
                              "average of temperature over 15 min above 26 °C",
                              "average of temperature over 15 min below 25.5 °C lasting 2 min"));
    all.book.push_back(a_rule("jar-mean", "jar",
                              "average of humidity over 20 min between 75 % and 82.5 % lasting 3 "
                              "min or temperature minus average of temperature over 9 min above "
                              "1 K"));
    all.book.push_back(a_rule("erring", "sensor", "doubted readings above 10 % lasting 3 min",
                              "doubted readings below 5 % lasting 9 min"));
    all.book.push_back(a_rule("not-believed", "sensor",
                              "time stuck above 2 min or doubted "
                              "readings above 20 %"));
    return all;
  }

  struct Step {
    Instant wall;
    Input input;
  };

  std::vector<Step> steps(int count) {
    std::vector<Step> steps;
    for (int i = 0; i < count; ++i) {
      now_ += pick(0, 3);
      steps.push_back({minute(now_), input()});
    }
    steps.push_back({minute(now_ + 40), TickInput{}});
    return steps;
  }

  int pick(int from, int to) {
    return from + static_cast<int>(random_() % static_cast<unsigned>(to - from + 1));
  }

  Reading reading(const std::string& sensor, int at) {
    const bool is_temperature = pick(0, 1) == 0;
    int value = is_temperature ? pick(23, 29) : 5 * pick(13, 19);
    if (calm_) {
      int& level = levels_.try_emplace({sensor, is_temperature}, value).first->second;
      if (pick(0, 14) == 0) level = value;
      value = level;
    }
    Reading reading = a_reading(sensor, is_temperature ? Quantity::temperature : Quantity::humidity,
                                value, minute(at));
    if (pick(0, calm_ ? 99 : 19) == 0) reading.marks = kOutOfRange;
    return reading;
  }

  std::string sensor() {
    const char* const ids[] = {"c", "a", "b", "b2", "o"};
    return ids[pick(0, 4)];
  }

 private:
  Input input() {
    if (calm_ && pick(0, 9) < 8) return ReadingsInput{present()};
    const int what = pick(0, 99);
    if (what < 55) return ReadingsInput{present()};
    if (what < 65) return ReadingsInput{late()};
    if (what < 72) return ReadingsInput{backlog()};
    if (what < 75 && !sent_.empty()) {
      return ReadingsInput{
          {sent_[static_cast<std::size_t>(pick(0, static_cast<int>(sent_.size()) - 1))]}};
    }
    const std::string jar = "B-" + std::to_string(pick(1, 4));
    const char* const places[] = {"cellar",         "cellar/shelf-1", "cellar/shelf-2",
                                  "cellar/shelf-3", "outside",        "attic"};
    const Instant when = minute(now_ + (pick(0, 2) == 0 ? pick(-25, 6) : 0));
    if (what < 84) return JarPlacedInput{jar, places[pick(0, 5)], when};
    if (what < 86) return JarRetiredInput{jar, when};
    if (what < 89) return SeenInput{std::nullopt, "somebody"};
    if (what < 91) {
      return DeferInput{static_cast<std::uint64_t>(pick(1, 9)), minute(now_ + pick(-2, 30)), "",
                        ""};
    }
    if (what < 93) return LinkInput{pick(0, 1) == 0};
    return TickInput{};
  }

  std::vector<Reading> remember(std::vector<Reading> readings) {
    sent_.insert(sent_.end(), readings.begin(), readings.end());
    return readings;
  }

  std::vector<Reading> present() {
    const std::string who = sensor();
    std::vector<Reading> readings{reading(who, now_)};
    if (pick(0, 1) == 0) readings.push_back(reading(who, now_));
    return remember(std::move(readings));
  }

  std::vector<Reading> late() { return remember({reading(sensor(), now_ - pick(1, 35))}); }

  std::vector<Reading> backlog() {
    const std::string who = sensor();
    std::vector<Reading> readings;
    for (int at = now_ - pick(5, 40); at < now_; at += pick(1, 6)) {
      readings.push_back(reading(who, at));
    }
    if (pick(0, 3) == 0) std::shuffle(readings.begin(), readings.end(), random_);
    return remember(std::move(readings));
  }

  std::mt19937 random_;
  const bool calm_;
  std::map<std::pair<std::string, bool>, int> levels_;  // of a calm one
  int now_ = 100;
  std::vector<Reading> sent_;
};

std::string text_of(const Effects& effects) {
  std::string text;
  for (const AlertChange& change : effects.changes) {
    const bool began =
        change.kind == AlertChangeKind::raised || change.kind == AlertChangeKind::reopened;
    const bool counts =
        began || change.kind == AlertChangeKind::eased || change.kind == AlertChangeKind::ended;
    if (!counts) continue;
    text += minute_text(change.at) + " " + std::string(alert_change_name(change.kind)) + " " +
            std::to_string(change.alert.number) + " " + change.alert.rule + " " +
            change.alert.subject.id;
    if (began) text += " since " + minute_text(change.alert.since);
    text += "\n";
  }
  return text;
}

// The plain engine takes the judges' word: they have tests of their own.
Input as_judged(Input input, const Effects& effects) {
  if (auto* readings = std::get_if<ReadingsInput>(&input)) {
    for (Reading& reading : readings->readings) {
      for (const DoubtedReading& doubted : effects.doubted) {
        const bool meant = doubted.sensor == reading.sensor &&
                           doubted.quantity == reading.quantity &&
                           doubted.measured_at == reading.measured_at;
        if (meant) reading.marks |= kDoubted;
      }
    }
  }
  return input;
}

std::string standing_jars(const Watch& watch) {
  std::string text;
  for (const Alert& alert : watch.open_alerts()) {
    if (alert.subject.kind != SubjectKind::place || alert.state != AlertState::standing) continue;
    text += std::to_string(alert.number) + ":";
    for (const std::string& jar : alert.jars) text += " " + jar;
    text += "\n";
  }
  return text;
}

// Within one step the order of changes is not part of the comparison.
std::string sorted_lines(const std::string& text) {
  std::stringstream stream(text);
  std::vector<std::string> lines;
  for (std::string line; std::getline(stream, line);) lines.push_back(line + "\n");
  std::sort(lines.begin(), lines.end());
  std::string sorted;
  for (const std::string& line : lines) sorted += line;
  return sorted;
}

// How many histories each property is tried on: about twenty seconds in all, and as long under
// sanitizers, which make each many times slower.
#ifdef TORPOR_SANITIZED
constexpr unsigned kPart = 50;
#else
constexpr unsigned kPart = 1;
#endif
constexpr unsigned kPlainHistories = 100 / kPart;
constexpr unsigned kRestartedHistories = 800 / kPart;
constexpr unsigned kRehearsedHistories = 1000 / kPart;

TEST_CASE("the engine gives the alerts of a plain one on random histories") {
  std::size_t raised = 0;
  for (unsigned seed = 0; seed < kPlainHistories; ++seed) {
    History history(seed);
    const WatchSettings settings = history.settings();
    Watch watch(settings);
    PlainEngine plain(settings);
    std::size_t step_number = 0;
    for (const auto& [wall, input] : history.steps(60)) {
      const Effects effects = watch.step(wall, input);
      const std::string expected = plain.step(wall, as_judged(input, effects));
      CAPTURE(seed);
      CAPTURE(step_number++);
      CAPTURE(minute_text(wall));
      REQUIRE(sorted_lines(text_of(effects)) == sorted_lines(expected));
      REQUIRE(standing_jars(watch) == plain.standing_jars());
      raised += effects.changes.size();
    }
  }
  // The histories must be worth comparing: about ten changes each at least.
  CHECK(raised > 10 * kPlainHistories);
}

TEST_CASE("restarted at any point, the engine goes on as if undisturbed") {
  for (unsigned seed = 0; seed < kRestartedHistories; ++seed) {
    History history(seed + 1000000);
    WatchSettings settings = history.settings_with_averages();
    settings.quiet = QuietHours{2 * 60, 3 * 60};
    settings.clock = seed % 4 == 0 ? Clock::readings : Clock::wall;
    Watch undisturbed(settings);
    auto restarted = std::make_unique<Watch>(settings);
    for (const auto& [wall, input] : history.steps(60)) {
      CAPTURE(seed);
      CAPTURE(minute_text(wall));
      const Effects expected = undisturbed.step(wall, input);
      const Effects effects = restarted->step(wall, input);
      REQUIRE(effects.changes == expected.changes);
      REQUIRE(effects.notices == expected.notices);
      REQUIRE(effects.touched == expected.touched);
      REQUIRE(restarted->open_alerts() == undisturbed.open_alerts());
      REQUIRE(restarted->now() == undisturbed.now());
      if (history.pick(0, 9) > 0) continue;
      auto next = std::make_unique<Watch>(settings);
      const std::string snapshot = restarted->snapshot();
      REQUIRE(next->restore(snapshot).has_value());
      if (seed % 8 == 0) REQUIRE(next->snapshot() == snapshot);
      restarted = std::move(next);
    }
  }
}

TEST_CASE("rehearsal by the clock of readings gives the alerts of the live run in order") {
  for (unsigned seed = 0; seed < kRehearsedHistories; ++seed) {
    History history(seed + 2000000);
    WatchSettings settings = history.settings_with_averages();
    Watch live(settings);
    settings.clock = Clock::readings;
    Watch rehearsed(settings);
    for (const char* jar : {"B-1", "B-2"}) {
      const JarPlacedInput placed{jar, "cellar/shelf-1", minute(0)};
      // Live, the jars were there before the first reading.
      (void)live.step(minute(100), placed);
      (void)rehearsed.step(minute(100), placed);
    }
    int now = 100;
    for (int i = 0; i < 80; ++i) {
      now += i == 0 ? 0 : history.pick(0, 4);
      const ReadingsInput input{{history.reading(history.sensor(), now)}};
      CAPTURE(seed);
      CAPTURE(now);
      const Effects expected = live.step(minute(now), input);
      // Played back a year later, and all at once.
      const Effects effects = rehearsed.step(minute(600000), input);
      REQUIRE(effects.changes == expected.changes);
      REQUIRE(effects.notices == expected.notices);
    }
  }
}

}  // namespace
}  // namespace torpor::rules
