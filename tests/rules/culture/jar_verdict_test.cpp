#include <doctest/doctest.h>

#include "tests/rules/culture/jars.h"

using namespace torpor;
using namespace torpor::rules::culture;
using namespace torpor::rules::culture::testing;

TEST_CASE("states have their published names") {
  CHECK(state_name(State::settling) == "settling");
  CHECK(state_name(State::dormant) == "dormant");
  CHECK(state_name(State::waking) == "waking");
  CHECK(state_name(State::due) == "due");
  CHECK(state_name(State::awake) == "awake");
  CHECK(state_name(State::doubtful) == "doubtful");
  CHECK(state_name(State::unwatched) == "unwatched");
  CHECK(state_name(State::retired) == "retired");
}

TEST_CASE("a jar settles for 14 days, longer in the cold") {
  CHECK(jar_after(kGood, 20, 65, 13.9).verdict().state == State::settling);
  CHECK(jar_after(kGood, 20, 65, 14.1).verdict().state == State::dormant);
  CHECK(jar_after(kGood, 8, 65, 27).verdict().state == State::settling);  // half as fast
  CHECK(jar_after(kGood, 8, 65, 29).verdict().state == State::dormant);
}

TEST_CASE("too little sugar shows as waking, then due, and never as awake by itself") {
  JarModel jar(profile(), kWet);
  std::vector<State> seen;
  for (int hour = 1; hour <= 60 * 24; ++hour) {
    jar.step(air(20, 65), after_hours(hour));
    if (hour % 12 != 0) continue;
    const State state = jar.verdict().state;
    if (seen.empty() || seen.back() != state) seen.push_back(state);
  }
  CHECK(seen == std::vector<State>{State::settling, State::waking, State::due});
}

TEST_CASE("a dormant jar says its activity, its buffer and that waking is not in sight") {
  const Verdict verdict = jar_after(kGood, 20, 65, 30).verdict();
  CHECK(says(verdict, "Water activity, by estimate: on top about 0."));
  CHECK(says(verdict, "of water before the sugar on top is used up; in this air it dries."));
  CHECK(says(verdict, "Waking under the air it has had: not in sight within 180 days"));
  CHECK(verdict.figures.coverage_percent == doctest::Approx(100));
}

TEST_CASE("in damp air the buffer is said in grams and in time") {
  const Verdict verdict = jar_after(kGood, 20, 92, 20).verdict();
  CHECK(says(verdict, "It can still take about "));
  CHECK(says(verdict, " of this air."));
  REQUIRE(verdict.gain_per_day_g);
  CHECK(*verdict.gain_per_day_g > 0.05);
}

TEST_CASE("a jar in air nobody measured is unwatched after settling, never dormant") {
  JarModel jar(profile(), kGood);
  jar.step(Air(), after_days(30));
  const Verdict verdict = jar.verdict();
  CHECK(verdict.state == State::unwatched);
  CHECK(says(verdict, "No trusted air for most of the last 7 days"));
  CHECK(verdict.time_to_wake[kLikely].kind == WakeTime::Kind::unknown);
}

TEST_CASE("a sensor that fell silent makes a dormant jar unwatched within days, and back") {
  JarModel jar = jar_after(kGood, 20, 65, 30);
  jar.step(Air(), after_days(33));
  CHECK(jar.verdict().state == State::dormant);
  jar.step(Air(), after_days(37));
  CHECK(jar.verdict().state == State::unwatched);
  jar.step(air(20, 65), after_days(47));
  CHECK(jar.verdict().state == State::dormant);
}

TEST_CASE("the cautious reckoning alone asks for a look and alarms nobody") {
  JarModel jar = jar_after(jar_of(1200, 0.65, 1200, Cover::kraft, 60), 20, 65, 90);
  const Verdict verdict = jar.verdict();
  REQUIRE(verdict.figures.wake_progress_percent->cautious > 100.0);
  REQUIRE(verdict.figures.wake_progress_percent->likely < 10.0);
  CHECK(verdict.state == State::dormant);
  CHECK(says(verdict, "By the cautious reckoning it could be waking already"));
  jar.observe(jar.at(), Look{{Sign::all_well}});
  CHECK_FALSE(says(jar.verdict(), "By the cautious reckoning"));
}

TEST_CASE("silence never hides a jar that is due") {
  JarModel jar = jar_after(kWet, 25, 65, 16);
  REQUIRE(jar.verdict().state == State::due);
  jar.step(Air(), after_days(60));
  CHECK(jar.verdict().state == State::due);
}

TEST_CASE("gas under a tight lid is said with its danger") {
  JarRecipe lidded = kGood;
  lidded.cover = Cover::tight_lid;
  JarModel jar = jar_after(lidded, 20, 65, 30);
  jar.observe(jar.at(), Look{{Sign::bubbling}});
  CHECK(says(jar.verdict(), "gas-tight lid: it can burst"));
  JarModel vented = jar_after(kGood, 20, 65, 30);
  vented.observe(vented.at(), Look{{Sign::bubbling}});
  CHECK_FALSE(says(vented.verdict(), "burst"));
}

TEST_CASE("coloured growth is never scrape and use") {
  JarModel jar = jar_after(kGood, 20, 65, 30);
  jar.observe(jar.at(), Look{{Sign::green_growth}});
  CHECK(jar.verdict().state == State::awake);
  CHECK(says(jar.verdict(), "green growth. Spoiled: not for use, and never 'scrape and use'."));
}

TEST_CASE("heat and age make a jar doubtful at their limits") {
  // 40 degC for 3 days; a jar is filled at the temperature of its first air.
  CHECK(jar_after(kGood, 40.5, 40, 2.99).verdict().state != State::doubtful);
  CHECK(jar_after(kGood, 40.5, 40, 3.01).verdict().state == State::doubtful);
  CHECK(jar_after(kGood, 20, 65, 364.9).verdict().state == State::dormant);
  const Verdict old = jar_after(kGood, 20, 65, 365.1).verdict();
  CHECK(old.state == State::doubtful);
  CHECK(says(old, "about 12 months without a wake test"));
}

TEST_CASE("life that is seen outweighs the doubt of heat") {
  JarModel jar = jar_after(kGood, 50, 30, 1);
  jar.step(air(20, 65), after_days(30));
  jar.observe(jar.at(), Look{{Sign::bubbling}});
  CHECK(jar.verdict().state == State::awake);
  CHECK(says(jar.verdict(), "above 45 °C"));
}

TEST_CASE("the range of the time to wake is in order") {
  for (const double moisture : {0.52, 0.58, 0.64, 0.70}) {
    for (const double sugar : {500.0, 900.0, 1300.0}) {
      const Verdict verdict =
          jar_after(jar_of(1200, moisture, sugar, Cover::kraft), 24, 75, 3).verdict();
      CHECK_FALSE(sooner(verdict.time_to_wake[1], verdict.time_to_wake[0]));
      CHECK_FALSE(sooner(verdict.time_to_wake[2], verdict.time_to_wake[1]));
      CHECK(verdict.figures.body_activity->cautious >= verdict.figures.body_activity->likely);
      CHECK(verdict.figures.body_activity->likely >= verdict.figures.body_activity->hopeful);
    }
  }
}
