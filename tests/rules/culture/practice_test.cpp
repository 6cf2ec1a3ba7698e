// Checks against common practice (no source), as ranges. Letters (a) to (g) as in the list of such
// checks that the defaults must reconcile with the literature.
#include <doctest/doctest.h>

#include <optional>

#include "tests/rules/culture/jars.h"

using namespace torpor;
using namespace torpor::rules::culture;
using namespace torpor::rules::culture::testing;

namespace {

// Days until the likely jar's predicted work is done under steady air.
std::optional<double> woken_after(const JarRecipe& recipe, double celsius, double percent,
                                  double most_days) {
  JarModel jar(profile(), recipe);
  for (double hours = 6; hours <= most_days * 24; hours += 6) {
    jar.step(air(celsius, percent), after_hours(hours));
    if (jar.figures().wake_progress_percent->likely >= 100.0) return hours / 24;
  }
  return std::nullopt;
}

void check_asleep(const Verdict& verdict) {
  CHECK(verdict.time_to_wake[kLikely].kind == WakeTime::Kind::beyond);
  CHECK(verdict.time_to_wake[kCautious].kind == WakeTime::Kind::beyond);
  CHECK(verdict.state != State::waking);
  CHECK(verdict.state != State::due);
  CHECK(verdict.state != State::awake);
}

}  // namespace

TEST_CASE(
    "equal weights and a little surplus put drier-cooked rice to sleep, half of it does not") {
  const auto asleep = jar_after(jar_of(1200, 0.54, 1260, Cover::kraft), 20, 70, 20);
  check_asleep(asleep.verdict());
  CHECK(asleep.figures().water_buffer_g->likely > 0.0);
  CHECK(woken_after(jar_of(1200, 0.54, 630, Cover::kraft), 20, 70, 60));
}

TEST_CASE(
    "(a) 55 % rice, 1:1.1, kraft, 20 degC, 65 %: sleeps for three years, dry on top in 60 days") {
  JarModel jar(profile(), jar_of(1200, 0.55, 1320, Cover::kraft));
  jar.step(air(20, 65), after_days(60));
  CHECK(jar.figures().surface_activity->likely < 0.78);
  for (int month = 3; month <= 36; ++month) {
    jar.step(air(20, 65), after_days(30.5 * month));
    check_asleep(jar.verdict());
  }
}

TEST_CASE("(b) the same with the lid turned back at 15 degC: never awake without being seen so") {
  JarModel jar(profile(), jar_of(1200, 0.55, 1320, Cover::lid_turned_back));
  for (int month = 1; month <= 36; ++month) {
    jar.step(air(15, 65), after_days(30.5 * month));
    check_asleep(jar.verdict());
  }
  CHECK(jar.figures().slow_work_percent->cautious > 100.0);  // slow work is allowed
  CHECK(jar.figures().body_activity->likely > 0.77);         // and the middle has not dried
}

TEST_CASE("(c) 60 % rice, 1:0.5, 25 degC: wakes in 2 to 10 days at an activity of .93 to .95") {
  const JarRecipe recipe = jar_of(1200, 0.60, 600, Cover::kraft);
  const JarModel fresh = jar_after(recipe, 25, 65, 0.1);
  CHECK(fresh.figures().body_activity->likely == doctest::Approx(0.935).epsilon(0.01));
  const auto days = woken_after(recipe, 25, 65, 30);
  REQUIRE(days);
  CHECK(*days >= 2.0);
  CHECK(*days <= 10.0);
  CHECK(fresh.verdict().time_to_wake[kCautious].hours >= 24.0);
}

TEST_CASE(
    "(d) 65 % rice, 1:1, tissue, 28 degC, 92 %: 1 to 5 weeks, moulds at the surface included") {
  const JarRecipe recipe = jar_of(1200, 0.65, 1200, Cover::tissue);
  const auto days = woken_after(recipe, 28, 92, 60);
  REQUIRE(days);
  CHECK(*days >= 7.0);
  CHECK(*days <= 35.0);
  CHECK(jar_after(recipe, 28, 92, 10).verdict().waking_guild == Guild::mould);
}

TEST_CASE("(e) 50 degC for a day: doubtful, not dormant") {
  const Verdict verdict = jar_after(jar_of(1200, 0.55, 1320, Cover::kraft), 50, 40, 1).verdict();
  CHECK(verdict.state == State::doubtful);
  CHECK(says(verdict, "Dead is not asleep."));
}

TEST_CASE("(f) a headspace probe taken for room air improves no verdict") {
  const JarRecipe recipe = jar_of(1200, 0.55, 1320, Cover::kraft);
  // The room is damp; one keeper's sensor hangs in the room, the other's under the cover, where it
  // reads the jar's own damp.
  JarModel told(profile(), recipe), fooled(profile(), recipe);
  for (int hour = 1; hour <= 60 * 24; ++hour) {
    const double celsius = 22 + std::sin(hour * std::numbers::pi / 12);
    told.step(air(celsius, 95), after_hours(hour));
    const double own = 100 * fooled.figures().surface_activity->likely;
    fooled.step(air(celsius, own + 0.5 * std::sin(hour)), after_hours(hour));
  }
  const Verdict verdict = fooled.verdict();
  CHECK(verdict.state == State::unwatched);
  CHECK(verdict.time_to_wake[kLikely].kind == WakeTime::Kind::unknown);
  CHECK(verdict.figures.coverage_percent < 10.0);
  CHECK(says(verdict, "Check where it hangs."));
  // The room's own air, however damp, is not mistaken for it.
  CHECK(told.verdict().figures.coverage_percent > 95.0);

  // Fed as what it is, a headspace reading is no air: the jar stays unwatched.
  JarModel probed(profile(), recipe);
  for (int day = 1; day <= 30; ++day) {
    probed.step(Air(), after_days(day));
    probed.observe(after_days(day), Headspace{Percent(80)});
  }
  CHECK(probed.verdict().state == State::unwatched);
}

TEST_CASE("(f) a steady dry room is not taken for a probe under the cover") {
  const JarModel jar = jar_after(jar_of(1200, 0.55, 1320, Cover::tissue), 20, 70, 300);
  CHECK(jar.figures().coverage_percent == doctest::Approx(100));
  CHECK(jar.verdict().state == State::dormant);
  // Nor is a cellar that stands still at the jar's own damp.
  const JarModel cellar = jar_after(jar_of(1200, 0.55, 1320, Cover::kraft), 14, 84, 60);
  CHECK(cellar.figures().coverage_percent == doctest::Approx(100));
}

TEST_CASE("(g) a fresh jar bubbling on day 4 is settling") {
  JarModel jar = jar_after(jar_of(1200, 0.55, 1320, Cover::kraft, 60), 22, 65, 4);
  jar.observe(jar.at(), Look{{Sign::bubbling, Sign::sinking, Sign::wet_surface}});
  const Verdict verdict = jar.verdict();
  CHECK(verdict.state == State::settling);
  CHECK(says(verdict, "bubbling; normal while it settles"));
  // The same on day 30 is not.
  jar.step(air(22, 65), after_days(30));
  jar.observe(jar.at(), Look{{Sign::bubbling}});
  CHECK(jar.verdict().state == State::awake);
}

TEST_CASE(
    "a room below 85 % dries a paper-covered jar, the top first, the middle for a year hardly") {
  const JarModel jar = jar_after(jar_of(1200, 0.55, 1320, Cover::kraft), 20, 65, 180);
  const Figures figures = jar.figures();
  CHECK(figures.water_gained_g->hopeful < 0.0);
  CHECK(figures.water_gained_g->cautious < 0.0);
  CHECK(figures.surface_activity->likely < figures.body_activity->likely - 0.03);
  CHECK(figures.body_activity->likely > 0.79);
}
