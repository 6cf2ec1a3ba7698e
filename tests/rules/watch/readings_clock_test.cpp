#include "rules/watch/readings_clock.h"

#include <doctest/doctest.h>

#include <random>

#include "tests/rules/watch/story.h"

namespace torpor::rules {
namespace {

using std::chrono::minutes;
using std::chrono::seconds;

// Sensors that stamp a reading a minute, one after the other within it; each is ahead by its own.
struct Clocks {
  explicit Clocks(std::vector<Duration> by) : ahead(std::move(by)), clock(ahead.size()) {}
  void minutes_pass(int count) {
    for (int i = 0; i < count; ++i) {
      for (std::size_t sensor = 0; sensor < ahead.size(); ++sensor) {
        now = clock.heard(sensor, right + seconds(sensor) + ahead[sensor], now);
      }
      right += minutes(1);
    }
  }
  // How far time is carried ahead of the right one.
  [[nodiscard]] Duration lead() const { return *now - (right - minutes(1)); }

  std::vector<Duration> ahead;
  ReadingsClock clock;
  Instant right = kMidnight;
  std::optional<Instant> now;
};

TEST_CASE("stamps in order carry time on as they are, whoever gives them") {
  std::mt19937 random(7);
  ReadingsClock clock(5);
  std::optional<Instant> now;
  Instant stamp = kMidnight;
  for (int i = 0; i < 5000; ++i) {
    stamp += Duration(random() % 3'600'000);
    now = clock.heard(random() % 5, stamp, now);
    REQUIRE(now == stamp);
  }
}

TEST_CASE("one sensor 290 s ahead of three is found out within a minute, and moves nobody after") {
  Clocks clocks({seconds(290), {}, {}, {}});
  clocks.minutes_pass(1);
  CHECK(clocks.clock.ahead(0) > seconds(280));
  clocks.minutes_pass(20);
  CHECK(clocks.lead() < seconds(15));
}

TEST_CASE("of two the one that is ahead is put back: the other would be silent") {
  Clocks clocks({{}, seconds(120)});
  clocks.minutes_pass(20);
  CHECK(clocks.clock.ahead(0) == Duration{});
  CHECK(clocks.lead() <= minutes(1));  // until it speaks again: its value holds for three
}

TEST_CASE("one sensor that is behind the others holds nobody up") {
  Clocks clocks({{}, {}, {}, -seconds(240)});
  clocks.minutes_pass(30);
  for (std::size_t sensor = 0; sensor < 4; ++sensor) {
    CHECK(clocks.clock.ahead(sensor) == Duration{});
  }
  CHECK(clocks.lead() >= Duration{});
}

TEST_CASE("a sensor whose clock was set right carries time again") {
  Clocks clocks({seconds(200), {}, {}});
  clocks.minutes_pass(10);
  REQUIRE(clocks.clock.ahead(0) > seconds(190));
  clocks.ahead[0] = {};
  clocks.minutes_pass(10);
  CHECK(clocks.clock.ahead(0) < minutes(1));
}

TEST_CASE("a backlog of hours is no reason to doubt those that were there") {
  ReadingsClock clock(2);
  Instant right = kMidnight + minutes(600);
  std::optional<Instant> now;
  for (int i = 0; i < 10; ++i, right += minutes(1)) now = clock.heard(0, right, now);
  for (int i = 0; i < 590; ++i) {
    now = clock.heard(1, kMidnight + minutes(i), now);
    CHECK(clock.ahead(0) == Duration{});
  }
}

TEST_CASE("no sensor is found ahead by more than 5 min, the most that is accepted") {
  Clocks clocks({minutes(9), {}, {}});
  clocks.minutes_pass(60);
  CHECK(clocks.clock.ahead(0) <= ReadingsClock::kMost);
}

TEST_CASE("the engine's time does not follow one sensor ahead, over a restart either") {
  WatchSettings settings =
      settings_of({a_rule("silent", "sensor", "time since reading above 6 min", "", "this-week")});
  settings.clock = Clock::readings;
  Watch watch(settings);
  const auto say = [](Watch& into, int at, const char* sensor, double ahead) {
    const Instant stamp = minute(at + ahead);
    return into.step(minute(at),
                     ReadingsInput{{a_reading(sensor, Quantity::temperature, 20.0, stamp)}});
  };
  std::string changes;
  for (int at = 0; at < 60; ++at) {
    if (at == 30) {
      const std::string state = watch.snapshot();
      Watch again(settings);
      REQUIRE(again.restore(state));
      CHECK(again.snapshot() == state);
      watch = std::move(again);
    }
    for (const char* sensor : {"s1", "s", "s2", "o"}) {
      const double ahead = sensor == std::string("s1") ? 290.0 / 60.0 : 0.0;
      changes += changes_text(say(watch, at, sensor, ahead));
    }
    // It stamps what has not come yet: live data goes no further than its arrival.
    CHECK(watch.now() == minute(at));
  }
  CHECK(changes.empty());
}

}  // namespace
}  // namespace torpor::rules
