#include "rules/culture/jar_model.h"

#include <doctest/doctest.h>

#include <random>

#include "tests/rules/culture/jars.h"

using namespace torpor;
using namespace torpor::rules::culture;
using namespace torpor::rules::culture::testing;

namespace {

// Air that changes every 90 minutes.
Air block_air(std::int64_t minute) {
  const double block = static_cast<double>(minute / 90);
  return air(20 + 5 * std::sin(block), 70 + 15 * std::sin(1.7 * block));
}

void check_same(const Figures& a, const Figures& b, double tolerance) {
  CHECK(a.temperature->value() == doctest::Approx(b.temperature->value()).epsilon(tolerance));
  CHECK(a.kinetic_temperature->value() ==
        doctest::Approx(b.kinetic_temperature->value()).epsilon(tolerance));
  CHECK(a.water_gained_g->likely == doctest::Approx(b.water_gained_g->likely).epsilon(tolerance));
  CHECK(a.surface_activity->cautious ==
        doctest::Approx(b.surface_activity->cautious).epsilon(tolerance));
  CHECK(a.body_activity->hopeful == doctest::Approx(b.body_activity->hopeful).epsilon(tolerance));
  CHECK(a.slow_work_percent->cautious ==
        doctest::Approx(b.slow_work_percent->cautious).epsilon(tolerance));
}

}  // namespace

TEST_CASE("the same air in steps of a minute, of its own changes and irregular gives one jar") {
  constexpr std::int64_t kMinutes = 10 * 1440;
  JarModel whole(profile(), kGood), minutes(profile(), kGood), irregular(profile(), kGood);
  for (std::int64_t m = 0; m < kMinutes; m += 90) {
    whole.step(block_air(m), after_hours(static_cast<double>(m + 90) / 60));
  }
  for (std::int64_t m = 0; m < kMinutes; ++m) {
    minutes.step(block_air(m), instant_of(kClosed + (m + 1) * 60000));
  }
  std::mt19937 random(3);
  std::uniform_int_distribution<std::int64_t> stride(1, 5400000);
  for (std::int64_t ms = 0; ms < kMinutes * 60000;) {
    const std::int64_t change = (ms / 5400000 + 1) * 5400000;
    const std::int64_t end = std::min(change, ms + stride(random));
    irregular.step(block_air(ms / 60000), instant_of(kClosed + end));
    ms = end;
  }
  check_same(minutes.figures(), whole.figures(), 1e-12);
  check_same(irregular.figures(), whole.figures(), 1e-12);
}

TEST_CASE("the cautious jar stands in the warmer and damper air that its sensor may mean") {
  const auto stood_in = [](double celsius, double percent, AirError error) {
    JarModel jar(profile(), kGood);
    const auto held = Air::of(Celsius(celsius), Percent(percent), error);
    REQUIRE(held);
    jar.step(*held, after_days(60));
    return jar;
  };
  const AirError error{0.6, 4.0};
  const JarModel sure = stood_in(20, 70, {}), unsure = stood_in(20, 70, error);
  const Figures none = sure.figures(), wide = unsure.figures();
  CHECK(wide.water_gained_g->likely == none.water_gained_g->likely);
  CHECK(wide.surface_activity->likely == none.surface_activity->likely);
  CHECK(wide.wake_progress_percent->likely == none.wake_progress_percent->likely);
  CHECK(wide.surface_activity->cautious > none.surface_activity->cautious + 0.005);
  CHECK(wide.surface_activity->hopeful < none.surface_activity->hopeful - 0.01);
  CHECK(wide.slow_work_percent->cautious > none.slow_work_percent->cautious);
  // Each end is the jar that stood in that air, and looks ahead as that one does.
  const JarModel damp = stood_in(20.6, 74, {}), dry = stood_in(19.4, 66, {});
  CHECK(wide.surface_activity->cautious ==
        doctest::Approx(damp.figures().surface_activity->cautious).epsilon(1e-6));
  CHECK(wide.wake_progress_percent->cautious ==
        doctest::Approx(damp.figures().wake_progress_percent->cautious).epsilon(1e-6));
  CHECK(wide.surface_activity->hopeful ==
        doctest::Approx(dry.figures().surface_activity->hopeful).epsilon(1e-6));
  CHECK(wide.water_gained_g->hopeful ==
        doctest::Approx(dry.figures().water_gained_g->hopeful).epsilon(1e-6));
  // So it does elsewhere: what is compared stands alike.
  const WakeTime moved = unsure.time_to_wake_in(Celsius(26), Percent(92))[kCautious];
  const WakeTime moved_damp = damp.time_to_wake_in(Celsius(26.6), Percent(96))[kCautious];
  REQUIRE(moved.kind == WakeTime::Kind::within);
  CHECK(moved.hours == doctest::Approx(moved_damp.hours).epsilon(1e-4));
}

TEST_CASE("air at saturation is not made damper than that by its sensor's error") {
  JarModel sure(profile(), kGood), unsure(profile(), kGood);
  const auto held = Air::of(Celsius(15), Percent(100), AirError{0.0, 5.0});
  REQUIRE(held);
  sure.step(air(15, 100), after_days(20));
  unsure.step(*held, after_days(20));
  CHECK(unsure.figures().surface_activity->cautious == sure.figures().surface_activity->cautious);
  CHECK(unsure.figures().surface_activity->hopeful < sure.figures().surface_activity->hopeful);
}

TEST_CASE("folding equal air is not what makes splits agree") {
  // A tenth of a millionth of a degree keeps any two readings apart.
  JarModel folded(profile(), kGood), split(profile(), kGood);
  for (int m = 0; m < 5 * 1440; ++m) {
    const Instant until = instant_of(kClosed + (m + 1) * std::int64_t{60000});
    folded.step(air(21, 75), until);
    split.step(air(21 + 1e-7 * (m % 2), 75), until);
  }
  check_same(split.figures(), folded.figures(), 1e-7);
}

TEST_CASE("the model's grid of an hour errs little against one of five minutes") {
  JarModel coarse(profile(), kGood);
  JarModel fine(profile(), kGood, std::chrono::minutes(5));
  double worst = 0.0;
  for (std::int64_t m = 0; m < 60 * 1440; ++m) {
    const Instant until = instant_of(kClosed + (m + 1) * 60000);
    coarse.step(cellar_air(m), until);
    fine.step(cellar_air(m), until);
    if (m % 7200 != 7199) continue;
    worst = std::max(worst, std::abs(coarse.figures().surface_activity->likely -
                                     fine.figures().surface_activity->likely));
  }
  CHECK(worst < 0.001);
  const Figures a = coarse.figures();
  const Figures b = fine.figures();
  CHECK(a.water_gained_g->likely == doctest::Approx(b.water_gained_g->likely).epsilon(0.003));
  CHECK(a.slow_work_percent->cautious ==
        doctest::Approx(b.slow_work_percent->cautious).epsilon(0.003));
  CHECK(a.temperature->value() == doctest::Approx(b.temperature->value()).epsilon(1e-12));
}

TEST_CASE("a step into the past changes nothing") {
  JarModel jar = jar_after(kGood, 20, 70, 3);
  const std::string before = jar.snapshot();
  jar.step(air(40, 20), after_days(3));
  jar.step(air(40, 20), after_days(1));
  CHECK(jar.at() == after_days(3));
  CHECK(jar.snapshot() == before);
}

TEST_CASE("a jar in air at its own activity neither gains nor loses") {
  Profile still;
  REQUIRE(still.set("inversion_early", 0, 0, 0));
  REQUIRE(still.set("inversion_monthly", 0, 0, 0));
  REQUIRE(still.set("humidity_error", 0, 0, 0));
  const auto shared = std::make_shared<const Profile>(still);
  const JarRecipe recipe = jar_of(1200, 0.60, 1000, Cover::tissue);
  const double own = JarModel(shared, recipe).figures().surface_activity->likely;
  JarModel jar(shared, recipe);
  jar.step(air(20, 100 * own), after_days(60));
  CHECK(std::abs(jar.figures().water_gained_g->likely) < 0.01);
}

TEST_CASE("water is conserved: what is in the jar is what was, came and was bound by inversion") {
  JarModel jar(profile(), kGood);
  const Mix before = *jar.mix(kLikely);
  for (std::int64_t h = 0; h < 24 * 90; ++h) {
    jar.step(cellar_air(h * 60), after_hours(static_cast<double>(h + 1)));
  }
  JarModel settled = jar;
  settled.act(settled.at(), Open{});  // works in what is pending
  const Mix after = *settled.mix(kLikely);
  const double inverted = (before.sucrose - after.sucrose) / kMolarSucrose * kMolarWater;
  CHECK(after.water ==
        doctest::Approx(before.water + jar.figures().water_gained_g->likely - inverted)
            .epsilon(1e-9));
  CHECK(after.sucrose < before.sucrose);
  CHECK(after.solids == doctest::Approx(before.solids).epsilon(1e-12));
}

TEST_CASE("a tight lid lets no water through, whatever the air") {
  JarRecipe recipe = kGood;
  recipe.cover = Cover::tight_lid;
  CHECK(std::abs(jar_after(recipe, 20, 30, 365).figures().water_gained_g->likely) < 0.5);
}

TEST_CASE("the contents follow the air late and are above a threshold for the right time") {
  JarModel jar = jar_after(kGood, 20, 50, 2);
  jar.step(air(50, 30), after_hours(48 + 3));
  const double after_three = jar.figures().temperature->value();
  CHECK(after_three > 30.0);  // tau of this jar is about 3.6 h
  CHECK(after_three < 42.0);
  jar.step(air(50, 30), after_hours(48 + 24));
  jar.step(air(20, 50), after_hours(48 + 72));
  const auto hours = jar.figures().hours_above;
  CHECK(hours[0] > hours[1]);
  CHECK(hours[1] > hours[3]);
  CHECK(hours[3] > 10.0);
  CHECK(jar.figures().highest_temperature->value() == doctest::Approx(50).epsilon(0.01));
}

TEST_CASE("uncovered time counts as uncovered, moves no water and never lets progress decay") {
  JarModel jar = jar_after(jar_of(1200, 0.60, 600, Cover::tissue), 25, 65, 2);
  const Figures before = jar.figures();
  jar.step(Air(), after_days(4));
  const Figures after = jar.figures();
  CHECK(after.coverage_percent == doctest::Approx(50).epsilon(1e-6));
  CHECK(after.water_gained_g->likely == doctest::Approx(before.water_gained_g->likely));
  // The cautious jar takes it for damp and warm.
  CHECK(after.water_gained_g->cautious != before.water_gained_g->cautious);
  CHECK(after.wake_progress_percent->likely > before.wake_progress_percent->likely);
}

TEST_CASE("a temperature without humidity keeps the heat model going") {
  JarModel jar(profile(), kGood);
  jar.step(*Air::of(Celsius(30), std::nullopt), after_days(3));
  CHECK(jar.figures().temperature->value() == doctest::Approx(30));
  CHECK(jar.figures().coverage_percent == 0.0);
  CHECK(jar.figures().water_gained_g->likely == 0.0);
}

TEST_CASE("own warmth is found by a probe in the culture, not by one that agrees") {
  JarModel warm(profile(), kGood), calm(profile(), kGood);
  for (int h = 1; h <= 24; ++h) {
    warm.step(air(22, 70), after_hours(h));
    warm.probe(ProbeSeat::culture, Celsius(24.0));
    calm.step(air(22, 70), after_hours(h));
    calm.probe(ProbeSeat::culture, Celsius(22.3));
  }
  warm.step(air(22, 70), after_hours(25));
  calm.step(air(22, 70), after_hours(25));
  CHECK(warm.verdict().state == State::awake);
  CHECK(warm.figures().self_heating->value() == doctest::Approx(2.0).epsilon(0.01));
  CHECK(calm.verdict().state == State::settling);
}

TEST_CASE("a probe's impossible temperature is ignored, and its word fades") {
  JarModel jar = jar_after(kGood, 22, 70, 1);
  jar.probe(ProbeSeat::culture, Celsius(200));
  jar.step(air(22, 70), after_hours(25));
  CHECK_FALSE(jar.figures().self_heating);
  jar.probe(ProbeSeat::glass, Celsius(26));
  CHECK(jar.figures().temperature->value() == doctest::Approx(26).epsilon(0.01));
  jar.step(air(22, 70), after_hours(29));
  CHECK(jar.figures().temperature->value() == doctest::Approx(22).epsilon(0.01));
}

TEST_CASE("colder glass than the air's dew point is outer dew, a colder lid is inner dew") {
  JarModel jar = jar_after(kGood, 10, 60, 2);
  jar.step(air(24, 85), after_hours(49));  // warm damp air meets a cold jar
  CHECK(jar.figures().outer_dew_margin->value() < 0.0);
  CHECK(jar.figures().outer_dew_h > 0.5);
  JarRecipe lidded = kGood;
  lidded.cover = Cover::lid_turned_back;
  JarModel cooled = jar_after(lidded, 30, 60, 2);
  cooled.step(air(18, 60), after_hours(50));  // the room cools, the contents do not yet
  CHECK(cooled.figures().inner_dew_margin->value() < 0.0);
  CHECK(cooled.figures().inner_dew_h > 1.0);
  CHECK(jar_after(lidded, 25, 60, 5).figures().inner_dew_margin->value() ==
        doctest::Approx(2.8).epsilon(0.15));  // about 2.7 K at .85 (C: dew point 22.30 at 25)
}

TEST_CASE("what if it stood elsewhere: cooler is later, damper is not later") {
  const JarModel jar = jar_after(jar_of(1200, 0.62, 900, Cover::kraft), 22, 70, 2);
  const auto here = jar.time_to_wake_in(Celsius(22), Percent(70));
  const auto cool = jar.time_to_wake_in(Celsius(12), Percent(70));
  const auto damp = jar.time_to_wake_in(Celsius(22), Percent(95));
  CHECK(sooner(here[kLikely], cool[kLikely]));
  CHECK_FALSE(sooner(here[kLikely], damp[kLikely]));
}

TEST_CASE("the sugar a jar lacks is worked out for each set, and unknown without weights") {
  const JarModel jar = jar_after(jar_of(1200, 0.60, 600, Cover::kraft), 20, 70, 1);
  const auto needs = jar.sugar_to(0.86);
  REQUIRE(needs);
  CHECK((*needs)[kCautious].sugar > (*needs)[kLikely].sugar);
  CHECK((*needs)[kLikely].activity == doctest::Approx(0.86).epsilon(1e-4));
  JarRecipe blank;
  blank.closed = instant_of(kClosed);
  CHECK_FALSE(JarModel(profile(), blank).sugar_to(0.86));
}

TEST_CASE("a jar told without weights still has its heat, and nothing is made up of its water") {
  JarRecipe blank;
  blank.closed = instant_of(kClosed);
  JarModel jar(profile(), blank);
  jar.step(air(30, 80), after_days(30));
  const Verdict verdict = jar.verdict();
  CHECK(verdict.figures.temperature->value() == doctest::Approx(30));
  CHECK_FALSE(verdict.figures.surface_activity);
  CHECK_FALSE(verdict.figures.wake_progress_percent);
  CHECK_FALSE(verdict.figures.water_buffer_g);
  CHECK(verdict.time_to_wake[kLikely].kind == WakeTime::Kind::unknown);
  CHECK(verdict.state == State::unwatched);
  CHECK(verdict.unknown.size() == 8);
}
