// Values over a time: (t - W, t], by time, with the value held at the start, unknown below 75 %.
#include <doctest/doctest.h>

#include <array>
#include <random>

#include "rules/watch/window_signal.h"
#include "tests/rules/watch/story.h"

namespace torpor::rules {
namespace {

// A rule over a window and a story; values hold for 30 minutes.
TEST_CASE("a value over a time raises and eases at the moment that it passes its limit") {
  struct WindowRow {
    const char* what;
    const char* when;
    const char* until;
    const char* story;
    const char* changes;
  };
  constexpr std::array kRows{
      // 20 for 20 min, then 30: the mean of the last 40 min passes 25 when half of it is 30.
      WindowRow{"an average passes between readings",
                "average of temperature over 40 min above 25 °C",
                "average of temperature over 40 min at most 24 °C",
                "0 s:t20; 20 s:t30; 40 s:t30; 41 tick; 60 s:t20; 90 s:t20; 110 tick",
                "40+1ms raised w cellar; 84 eased w cellar"},
      WindowRow{"a strict and a loose limit differ by a millisecond",
                "average of temperature over 40 min at least 25 °C",
                "average of temperature over 40 min below 24 °C",
                "0 s:t20; 20 s:t30; 40 s:t30; 41 tick; 60 s:t20; 90 s:t20; 110 tick",
                "40 raised w cellar; 84+1ms eased w cellar"},
      WindowRow{"the value held at the window's start counts",
                "lowest of temperature over 20 min above 25 °C", "temperature below 20 °C",
                "0 s:t24; 10 s:t28; 20 s:t28; 29 tick; 31 tick", "30 raised w cellar"},
      WindowRow{"the moment itself counts", "highest of temperature over 20 min above 29 °C",
                "highest of temperature over 20 min below 28 °C",
                "0 s:t25; 20 s:t30; 21 s:t25; 40 s:t25; 42 tick",
                "20 raised w cellar; 41 eased w cellar"},
      WindowRow{"a rise is the value less the one held at the start",
                "rise of temperature over 20 min at least 3 K",
                "rise of temperature over 20 min below 1 K",
                "0 s:t20; 10 s:t21; 20 s:t23; 25 s:t24; 40 s:t24; 44 tick; 45 tick; 50 tick",
                "20 raised w cellar; 45 eased w cellar"},
      WindowRow{"a time with a condition adds up over breaks",
                "time with temperature above 27 °C within 60 min at least 20 min",
                "time with temperature above 27 °C within 60 min below 10 min",
                "0 s:t28; 10 s:t20; 30 s:t20; 45 s:t28; 70 s:t20; 100 s:t20; 120 s:t20; 121 tick",
                "55 raised w cellar; 120+1ms eased w cellar"},
      WindowRow{
          "a group of conditions is summed as a whole",
          "time with (temperature above 27 °C and humidity above 80 %) within 40 min at least 10 "
          "min",
          "temperature below 10 °C",
          "0 s:t28 s:h90; 5 s:h70; 10 s:t20 s:h90; 30 s:t28 s:h90; 36 tick", "35 raised w cellar"},
      WindowRow{"below three quarters known it is unknown",
                "highest of temperature over 40 min above 20 °C", "temperature below 10 °C",
                "0 s:t25; 29 s:t25; 31 tick", "30 raised w cellar"},
      WindowRow{"silence makes it unknown, which neither raises nor eases",
                "average of temperature over 40 min above 25 °C",
                "average of temperature over 40 min below 25 °C lasting 1 min",
                "0 s:t27; 25 s:t27; 200 s:t7; 300 tick",
                "30 raised w cellar; 231 eased w cellar; 291 ended w cellar"},
      WindowRow{"a late reading changes the windows that hold it",
                "lowest of temperature over 30 min at least 27 °C", "temperature below 10 °C",
                "0 s:t28; 10 s:t28; 20 s:t28; 25 s:t20@15; 40 s:t28; 49 tick; 51 tick",
                "22+30000ms raised w cellar; 25 eased w cellar; 50 reopened w cellar"},
      WindowRow{"a window at another place",
                "temperature minus average of temperature at outside over "
                "20 min above 5 K",
                "temperature below 10 °C", "0 s:t25 o:t25; 10 o:t10 s:t25; 20 s:t25 o:t10; 30 tick",
                "15+1ms raised w cellar"},
  };
  for (const WindowRow& row : kRows) {
    CAPTURE(row.what);
    Watch watch(settings_of({a_rule("w", "place", row.when, row.until)}));
    CHECK(changes_text(tell(watch, row.story)) == row.changes);
  }
}

TEST_CASE("a jar's window follows it from place to place") {
  Watch watch(settings_of({a_rule("w", "jar", "average of temperature over 40 min above 25 °C",
                                  "temperature below 10 °C")}));
  // 20 °C on shelf 1 until minute 40, then 30 °C on shelf 2: half of each at minute 60.
  CHECK(changes_text(tell(watch,
                          "0 s1:t20 s2:t30 +A=cellar/shelf-1; 20 s1:t20 s2:t30; "
                          "40 s1:t20 s2:t30 +A=cellar/shelf-2; 59 s1:t20 s2:t30; 70 tick")) ==
        "60+1ms raised w A");
}

TEST_CASE("a sentence says the figure over the time") {
  Watch watch(
      settings_of({a_rule("w", "place", "average of temperature over 40 min above 25 °C")}));
  const Effects raised = tell(watch, "0 s:t27; 25 s:t27; 30 tick");
  REQUIRE(raised.changes.size() == 1);
  CHECK(raised.changes[0].alert.what ==
        "cellar: average of temperature over 40 min 27.0 °C, above 25 °C.");
}

// Brute force: each millisecond's step from the list of all that was put.
TEST_CASE("a track sums and searches any window like a walk over all its steps") {
  std::mt19937 random(7);
  const auto pick = [&](int from, int to) {
    return from + static_cast<int>(random() % static_cast<unsigned>(to - from + 1));
  };
  for (int history = 0; history < 40; ++history) {
    WindowTrack track(Duration(4000));
    std::vector<std::int64_t> values(1, WindowTrack::kUnknown);  // by millisecond from zero
    const auto value_at = [&](int ms) {
      return ms < 0 ? WindowTrack::kUnknown
                    : values[std::min(static_cast<std::size_t>(ms), values.size() - 1)];
    };
    int now = 0;
    for (int step = 0; step < 400; ++step) {
      const int at = pick(0, 4) == 0 ? std::max(0, now - pick(0, 40)) : now + pick(0, 30);
      const std::int64_t value = pick(0, 6) == 0 ? WindowTrack::kUnknown : pick(-9, 9);
      values.resize(static_cast<std::size_t>(at) + 1, values.back());
      values.back() = value;
      track.cut(instant_of(at));
      track.put(instant_of(at), value);
      track.forget(instant_of(at));
      now = at;
      const int to = now + pick(-50, 20), from = to - pick(1, 3000);
      Wide sum = 0;
      std::int64_t known = 0, highest = WindowTrack::kUnknown, lowest = INT64_MAX;
      for (int ms = from; ms <= to; ++ms) {
        const std::int64_t v = value_at(ms);
        if (v == WindowTrack::kUnknown) continue;
        highest = std::max(highest, v);
        lowest = std::min(lowest, v);
        if (ms == to) break;
        sum += v;
        ++known;
      }
      const auto found = track.sum(instant_of(from), instant_of(to));
      const auto extremes = track.extremes(instant_of(from), instant_of(to));
      CAPTURE(history);
      CAPTURE(step);
      REQUIRE((found.weighted == sum));
      REQUIRE(found.known == known);
      REQUIRE(extremes.highest == highest);
      REQUIRE(extremes.lowest == lowest);
      if (step % 50 != 49) continue;
      WindowTrack restored((Duration(4000)));
      restored.restore(track.steps());
      REQUIRE(restored.steps() == track.steps());
      track = restored;
    }
    CHECK(track.steps().size() < 399);  // it forgets
  }
}

// The mean by definition, millisecond by millisecond, against the alerts of the engine.
TEST_CASE("an average raises and eases at the first millisecond past its limit") {
  std::mt19937 random(11);
  const auto pick = [&](int from, int to) {
    return from + static_cast<int>(random() % static_cast<unsigned>(to - from + 1));
  };
  int changes = 0;
  for (int history = 0; history < 30; ++history) {
    Watch watch(settings_of({a_rule("w", "place", "average of temperature over 2 s above 25 °C",
                                    "average of temperature over 2 s at most 25 °C")},
                            [] {
                              Layout layout = a_cellar();
                              for (auto& sensor : layout.sensors) sensor.hold = Duration(700);
                              return layout;
                            }()));
    std::vector<std::optional<int>> values;  // by ms from the beginning
    std::vector<std::pair<int, bool>> said;
    for (int at = 0; at < 12000; at += pick(100, 900)) {
      const int value = pick(20, 30);
      const auto effects = watch.step(
          kMidnight + Duration(at),
          ReadingsInput{{a_reading("s", Quantity::temperature, value, kMidnight + Duration(at))}});
      for (const AlertChange& change : effects.changes) {
        if (change.kind == AlertChangeKind::updated) continue;
        said.emplace_back(static_cast<int>((change.at - kMidnight).count()),
                          change.kind != AlertChangeKind::eased);
      }
      values.resize(static_cast<std::size_t>(at));
      values.resize(static_cast<std::size_t>(at) + 700, value);
    }
    std::vector<std::pair<int, bool>> expected;
    std::int64_t sum = 0;
    int known = 0;
    bool met = false;
    const auto end = static_cast<int>((*watch.now() - kMidnight).count());
    for (int t = 0; t <= end; ++t) {
      if (4 * known >= 3 * 2000) {
        const bool above = sum > 25 * static_cast<std::int64_t>(known);
        if (above != met) expected.emplace_back(t, above);
        met = above;
      }
      const auto enters = values[static_cast<std::size_t>(t)];
      if (enters) sum += *enters, ++known;
      const auto leaves = t < 2000 ? std::nullopt : values[static_cast<std::size_t>(t - 2000)];
      if (leaves) sum -= *leaves, --known;
    }
    CAPTURE(history);
    REQUIRE(said == expected);
    changes += static_cast<int>(said.size());
  }
  CHECK(changes > 30);
}

}  // namespace
}  // namespace torpor::rules
