// Time that nobody watched, and time that was wrong.
#include <doctest/doctest.h>

#include "tests/rules/watch/story.h"

namespace torpor::rules {
namespace {

using std::chrono::days;
using std::chrono::hours;
using std::chrono::minutes;

RuleBook warm_and_silent() {
  return {a_rule("warm", "place", "temperature above 27 °C", "temperature below 26 °C", "now"),
          a_rule("hot", "place", "temperature above 27 °C lasting 20 min", "", "today"),
          a_rule("silent", "sensor", "time since reading above 3 h", "", "this-week")};
}

Reading arrived(const char* sensor, double celsius, Instant at) {
  Reading reading = a_reading(sensor, Quantity::temperature, celsius, at);
  reading.received_at = at;
  reading.marks = kStampedOnArrival;
  return reading;
}

Effects say(Watch& watch, const char* sensor, double celsius, Instant at) {
  return watch.step(at, ReadingsInput{{arrived(sensor, celsius, at)}});
}

std::vector<std::string> standing(const Watch& watch) {
  std::vector<std::string> rules;
  for (const Alert& alert : watch.open_alerts()) {
    if (alert.state == AlertState::standing) rules.push_back(alert.rule + " " + alert.subject.id);
  }
  return rules;
}

TEST_CASE("60 days that nobody watched end in one notice, which says what is open") {
  for (const Clock clock : {Clock::wall, Clock::readings}) {
    for (const bool restarted : {false, true}) {
      WatchSettings settings = settings_of(warm_and_silent());
      settings.clock = clock;
      Watch watch(settings);
      for (const char* sensor : {"s", "s1", "s2", "o"}) {
        (void)say(watch, sensor, 30.0, minute(0));
        (void)say(watch, sensor, 30.0, minute(25));
      }
      const int day60 = 60 * 1440;
      const Effects back = say(watch, "s", 30.0, minute(day60));
      CHECK(back.notices.empty());  // the others have not had the time to say anything
      // The silence is dated as it came about.
      bool silent = false;
      for (const AlertChange& change : back.changes) {
        const Duration after = change.at - minute(25 + 180);
        silent = silent || (change.alert.rule == "silent" && after <= std::chrono::seconds(1));
      }
      CHECK(silent);
      CHECK(say(watch, "s1", 20.0, minute(day60 + 2)).notices.empty());
      CHECK(say(watch, "s2", 20.0, minute(day60 + 2)).notices.empty());
      if (restarted) {
        Watch again(settings);
        REQUIRE(again.restore(watch.snapshot(), watch.take_jar_models()));
        watch = std::move(again);
      }
      CHECK(say(watch, "s", 31.0, minute(day60 + 14)).notices.empty());
      const Effects said = say(watch, "s", 31.0, minute(day60 + 16));
      REQUIRE(said.notices.size() == 1);
      const std::string& line = said.notices[0].line;
      CAPTURE(line);
      CHECK(line.starts_with(
          "Now: Look at the jars: nobody watched them for 60 d, from 2 Mar 00:25 on. What is open "
          "now: cellar: temperature 31"));
      // Three have spoken again, one has not.
      CHECK(line.find("Sensor o at outside: no reading") != std::string::npos);
      CHECK(line.find("Sensor s") == std::string::npos);
      CHECK(line.size() < 700);
      // Nothing is said again until it would be.
      CHECK(say(watch, "s", 31.0, minute(day60 + 17)).notices.empty());
    }
  }
}

TEST_CASE("a service that is away again before it has said so tells of both times at once") {
  Watch watch(settings_of(warm_and_silent()));
  (void)say(watch, "s", 30.0, minute(0));
  (void)say(watch, "s", 30.0, minute(25));
  CHECK(say(watch, "s", 30.0, minute(10 * 1440)).notices.empty());
  CHECK(say(watch, "s", 30.0, minute(20 * 1440)).notices.empty());
  const Effects said = watch.step(minute(20 * 1440 + 15), TickInput{});
  REQUIRE(said.notices.size() == 1);
  CHECK(said.notices[0].line.find("for 20 d, from 2 Mar 00:25 on.") != std::string::npos);
}

TEST_CASE("23 hours without anybody are stepped as ever, and a tick in time is no leap") {
  Watch watch(settings_of(warm_and_silent()));
  (void)say(watch, "s", 30.0, minute(0));
  const Effects later = watch.step(minute(23 * 60), TickInput{});
  for (const Notice& notice : later.notices) CHECK_FALSE(notice.id.starts_with("leap"));
  // Nothing due for days, and then its tick.
  while (watch.next_due() && *watch.next_due() < minute(20 * 1440)) {
    for (const Notice& notice : watch.step(*watch.next_due(), TickInput{}).notices) {
      CHECK_FALSE(notice.id.starts_with("leap"));
    }
  }
}

TEST_CASE("a clock ten years ahead that is put right brings everything back") {
  const Duration wrong = days(3653);
  Watch moved(settings_of(warm_and_silent()));
  Watch right(settings_of(warm_and_silent()));
  const auto both = [&](int at, const char* sensor, double celsius) {
    (void)say(moved, sensor, celsius, minute(at) + wrong);
    (void)say(right, sensor, celsius, minute(at));
  };
  for (int at = 0; at < 40; ++at) {
    both(at, "s", at < 10 ? 20.0 : 30.0);
    both(at, "o", 10.0);
  }
  CHECK(standing(moved) == standing(right));
  const Effects effects = moved.step(minute(40), ClockMovedInput{minute(0) + wrong, -wrong});
  (void)right.step(minute(40), TickInput{});
  CHECK(moved.now() == minute(39));
  CHECK(effects.notices.empty());
  REQUIRE(moved.open_alerts().size() == right.open_alerts().size());
  for (std::size_t i = 0; i < right.open_alerts().size(); ++i) {
    CHECK(moved.open_alerts()[i].raised_at == right.open_alerts()[i].raised_at);
    CHECK(moved.open_alerts()[i].since == right.open_alerts()[i].since);
  }
  // From here on both are one.
  std::string story, expected;
  for (int at = 41; at < 400; at += 7) {
    const double celsius = at % 3 == 0 ? 31.0 : 24.0;
    story += changes_text(say(moved, "s", celsius, minute(at)));
    expected += changes_text(say(right, "s", celsius, minute(at)));
  }
  CHECK(story == expected);
  CHECK(expected.find("raised") != std::string::npos);
}

TEST_CASE("a clock that was behind is moved on, and nothing lasts through what was not watched") {
  Watch watch(settings_of(warm_and_silent()));
  (void)say(watch, "s1", 30.0, minute(0));
  (void)say(watch, "s1", 20.0, minute(5));
  // Off for two days; the board starts where it stood.
  (void)say(watch, "s1", 30.0, minute(10));
  const Instant now = minute(11) + days(2);
  const Effects effects = watch.step(now, ClockMovedInput{minute(10), days(2)});
  CHECK(watch.now() == minute(10) + days(2));
  CHECK(effects.notices.empty());
  for (const std::string& rule : standing(watch)) CHECK_FALSE(rule.starts_with("hot"));
  std::string story = changes_text(say(watch, "s1", 30.0, now + minutes(5)));
  story += changes_text(say(watch, "s1", 30.0, now + minutes(25)));
  CHECK(story.find("raised hot cellar/shelf-1") != std::string::npos);
}

TEST_CASE("a sensor with a clock of its own is not moved with the board's") {
  const Duration wrong = days(1);
  Watch watch(settings_of(warm_and_silent()));
  for (int at = 0; at < 30; ++at) {
    (void)watch.step(minute(at) + wrong,
                     ReadingsInput{{a_reading("s", Quantity::temperature, 30.0, minute(at))}});
  }
  CHECK(watch.newest("s", Quantity::temperature)->measured_at == minute(29));
  const Effects effects = watch.step(minute(30), ClockMovedInput{wrong + minute(0), -wrong});
  CHECK(watch.now() == minute(29));
  CHECK(watch.newest("s", Quantity::temperature)->measured_at == minute(29));
  CHECK(watch.air_at("cellar").temperature == Celsius(30.0));
  const auto now = watch.step(
      minute(31), ReadingsInput{{a_reading("s", Quantity::temperature, 31.0, minute(31))}});
  CHECK(standing(watch).front() == "warm cellar");
}

TEST_CASE("a move survives the snapshot, and under the readings' clock there is none") {
  WatchSettings settings = settings_of(warm_and_silent());
  Watch watch(settings);
  for (int at = 0; at < 30; ++at) (void)say(watch, "s", 30.0, minute(at));
  (void)watch.step(minute(20), ClockMovedInput{minute(15), -minutes(10)});
  const std::string state = watch.snapshot();
  Watch again(settings);
  REQUIRE(again.restore(state));
  CHECK(again.snapshot() == state);
  settings.clock = Clock::readings;
  Watch recorded(settings);
  (void)say(recorded, "s", 30.0, minute(0));
  (void)recorded.step(minute(0), ClockMovedInput{minute(0), -days(1)});
  CHECK(recorded.now() == minute(0));
}

}  // namespace
}  // namespace torpor::rules
