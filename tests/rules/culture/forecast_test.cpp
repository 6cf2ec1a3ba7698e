#include "rules/culture/forecast.h"

#include <doctest/doctest.h>

#include "tests/rules/culture/jars.h"

using namespace torpor;
using namespace torpor::rules::culture;
using namespace torpor::rules::culture::testing;

TEST_CASE("a time to wake comes true when the air stays as it was") {
  // Forecast at day 2 against the jar itself carried there, hour by hour.
  JarModel jar = jar_after(jar_of(1200, 0.60, 700, Cover::kraft), 22, 70, 2);
  const WakeTime promised = jar.verdict().time_to_wake[kLikely];
  REQUIRE(promised.kind == WakeTime::Kind::within);
  double hours = 0.0;
  while (jar.figures().wake_progress_percent->likely < 100.0 && hours < 2000) {
    hours += 1.0;
    jar.step(air(22, 70), after_hours(48 + hours));
  }
  CHECK(hours == doctest::Approx(promised.hours).epsilon(0.02));
}

TEST_CASE("a waking months away is forecast with coarse steps to within a few percent") {
  JarModel jar = jar_after(jar_of(1200, 0.65, 1200, Cover::kraft), 20, 90, 2);
  const WakeTime promised = jar.verdict().time_to_wake[kLikely];
  REQUIRE(promised.kind == WakeTime::Kind::within);
  CHECK(promised.hours > 30 * 24);
  double hours = 0.0;
  while (jar.figures().wake_progress_percent->likely < 100.0 && hours < 6000) {
    hours += 6.0;
    jar.step(air(20, 90), after_hours(48 + hours));
  }
  CHECK(hours == doctest::Approx(promised.hours).epsilon(0.05));
}

TEST_CASE("beyond 180 days nothing is promised, and what is due is due") {
  const JarModel asleep = jar_after(jar_of(1200, 0.55, 1320, Cover::kraft), 20, 65, 20);
  CHECK(asleep.verdict().time_to_wake[kLikely] == WakeTime{WakeTime::Kind::beyond, 4320});
  const JarModel late = jar_after(jar_of(1200, 0.60, 600, Cover::kraft), 25, 65, 20);
  CHECK(late.verdict().time_to_wake[kLikely] == WakeTime{WakeTime::Kind::due, 0});
}

TEST_CASE("the last day's air speaks for three days, the last week's for what follows") {
  // A week of warmth, then a cold day: the forecast is later than in steady warmth, and far sooner
  // than if the cold were taken for the season.
  const JarRecipe recipe = jar_of(1200, 0.60, 700, Cover::kraft);
  JarModel warm = jar_after(recipe, 24, 70, 3);
  JarModel chilled = warm;
  warm.step(air(24, 70), after_days(4));
  chilled.step(air(4, 70), after_days(4));
  const double steady = warm.verdict().time_to_wake[kLikely].hours;
  const double after_cold = chilled.verdict().time_to_wake[kLikely].hours;
  CHECK(after_cold > steady + 24);
  const WakeTime cold = chilled.time_to_wake_in(Celsius(4), Percent(70))[kLikely];
  CHECK((cold.kind == WakeTime::Kind::beyond || cold.hours > after_cold));
}

TEST_CASE("last year's season is used for what lies beyond a month") {
  // A year that was warm in summer; asked in late winter, the far months bring their own warmth.
  const JarRecipe recipe = jar_of(1200, 0.60, 1010, Cover::lid_turned_back);
  const auto month_air = [](int day) {
    const double season = std::sin(2 * std::numbers::pi * (day - 50) / 365.0);
    return air(14 + 12 * season, 70);
  };
  JarModel seasoned(profile(), recipe), fresh(profile(), recipe);
  for (int day = 0; day < 365; ++day) seasoned.step(month_air(day), after_days(day + 1));
  // The same cold week for both; only one has had a summer.
  seasoned.act(seasoned.at(), Move{});
  for (int day = 365; day < 372; ++day) seasoned.step(air(3, 70), after_days(day + 1));
  fresh.step(air(3, 70), after_days(372));
  const auto had_summer = seasoned.verdict().figures.wake_progress_percent->likely;
  CHECK(had_summer >= fresh.verdict().figures.wake_progress_percent->likely);
  CHECK_FALSE(
      sooner(fresh.verdict().time_to_wake[kCautious], seasoned.verdict().time_to_wake[kCautious]));
}

TEST_CASE("sooner orders due, within, beyond, unknown") {
  const WakeTime due{WakeTime::Kind::due, 0}, day{WakeTime::Kind::within, 24},
      week{WakeTime::Kind::within, 168}, beyond{WakeTime::Kind::beyond, kSightHours}, unknown;
  const WakeTime in_order[] = {due, day, week, beyond, unknown};
  for (std::size_t i = 0; i + 1 < 5; ++i) {
    CHECK(sooner(in_order[i], in_order[i + 1]));
    CHECK_FALSE(sooner(in_order[i + 1], in_order[i]));
  }
}
