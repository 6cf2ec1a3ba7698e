// Properties that must hold for any input, tried on many random ones (fixed seeds).
#include <doctest/doctest.h>

#include <cmath>
#include <limits>
#include <random>

#include "tests/rules/culture/jars.h"

using namespace torpor;
using namespace torpor::rules::culture;
using namespace torpor::rules::culture::testing;

namespace {

class Dice {
 public:
  explicit Dice(unsigned seed) : engine_(seed) {}
  double between(double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(engine_);
  }
  int below(int n) { return std::uniform_int_distribution<int>(0, n - 1)(engine_); }

 private:
  std::mt19937 engine_;
};

JarRecipe any_jar(Dice& dice) {
  JarRecipe recipe = jar_of(dice.between(20, 20000), dice.between(0.3, 0.82), 0.0,
                            static_cast<Cover>(dice.below(kCovers)));
  recipe.sugar = Grams(dice.below(8) == 0 ? 0.0 : dice.between(0, 2) * recipe.rice->value());
  if (dice.below(2) == 0) recipe.topping = Grams(dice.between(0, 300));
  recipe.sugar_kind = static_cast<SugarKind>(dice.below(3));
  recipe.volume_ml = dice.between(50, 40000);
  recipe.mouth_mm = dice.between(5, 400);
  if (dice.below(3) == 0) recipe.empty_vessel = Grams(dice.between(100, 5000));
  return recipe;
}

Air any_air(Dice& dice) {
  if (dice.below(10) == 0) return Air();
  return air(dice.between(kColdestAir, kHottestAir), dice.between(0, 100));
}

void check_finite(const Figures& figures) {
  const auto finite = [](double value) { REQUIRE(std::isfinite(value)); };
  const auto activity = [](const std::optional<Ensemble>& of) {
    for (const double value : {of->cautious, of->likely, of->hopeful}) {
      REQUIRE(value >= 0.0);
      REQUIRE(value <= 1.0);
    }
  };
  activity(figures.surface_activity);
  activity(figures.body_activity);
  for (const auto& of :
       {figures.water_gained_g, figures.water_buffer_g, figures.wake_progress_percent,
        figures.slow_work_percent, figures.sugar_shortfall_g}) {
    finite(of->cautious);
    finite(of->likely);
    finite(of->hopeful);
  }
  if (figures.temperature) finite(figures.temperature->value());
  if (figures.inner_dew_margin) finite(figures.inner_dew_margin->value());
  if (figures.outer_dew_margin) finite(figures.outer_dew_margin->value());
  finite(figures.coverage_percent);
}

void do_anything(JarModel& jar, Dice& dice) {
  switch (dice.below(12)) {
    case 0:
      jar.act(jar.at(), AddSugar{Grams(dice.between(0, 500)), std::nullopt, dice.below(2) == 0});
      break;
    case 1:
      jar.act(jar.at(), Take{Grams(dice.between(0, 2000))});
      break;
    case 2:
      jar.act(jar.at(), ChangeCover{static_cast<Cover>(dice.below(kCovers))});
      break;
    case 3:
      jar.act(jar.at(), Move{});
      break;
    case 4:
      jar.observe(jar.at(), Weighing{Grams(dice.between(1, 30000)), dice.below(2) == 0});
      break;
    case 5:
      jar.observe(jar.at(), Headspace{Percent(dice.between(0, 100))});
      break;
    case 6:
      jar.observe(jar.at(), Level{dice.between(0, 300)});
      break;
    case 7:
      jar.probe(dice.below(2) == 0 ? ProbeSeat::culture : ProbeSeat::glass,
                Celsius(dice.between(-20, 60)));
      break;
    case 8:
      jar.observe(jar.at(), WakeTest{dice.below(2) == 0});
      break;
    default:
      jar.observe(jar.at(), Look{{static_cast<Sign>(dice.below(20))}});
  }
}

}  // namespace

TEST_CASE("any jar under any air and any telling gives finite figures and a verdict") {
  Dice dice(11);
  for (int trial = 0; trial < 150; ++trial) {
    CAPTURE(trial);
    const JarRecipe recipe = any_jar(dice);
    if (!check_recipe(recipe)) continue;
    JarModel jar(profile(), recipe);
    double hours = 0.0;
    for (int i = 0; i < 40; ++i) {
      hours += std::pow(10.0, dice.between(-2, 3));
      jar.step(any_air(dice), after_hours(hours));
      if (dice.below(4) == 0) do_anything(jar, dice);
      check_finite(jar.figures());
    }
    CHECK_FALSE(jar.verdict().reasons.empty());
  }
}

TEST_CASE("water is conserved under any air for any jar") {
  Profile still;
  REQUIRE(still.set("inversion_early", 0, 0, 0));
  REQUIRE(still.set("inversion_monthly", 0, 0, 0));
  const auto shared = std::make_shared<const Profile>(still);
  Dice dice(12);
  for (int trial = 0; trial < 60; ++trial) {
    CAPTURE(trial);
    const JarRecipe recipe = any_jar(dice);
    if (!check_recipe(recipe)) continue;
    JarModel jar(shared, recipe);
    const double before = jar.mix(kLikely)->water;
    double hours = 0.0;
    for (int i = 0; i < 100; ++i) {
      hours += dice.between(0.1, 100);
      jar.step(any_air(dice), after_hours(hours));
    }
    jar.act(jar.at(), Open{});
    CHECK(jar.mix(kLikely)->water ==
          doctest::Approx(before + jar.figures().water_gained_g->likely).epsilon(1e-8));
  }
}

TEST_CASE("more sugar never raises the water activity") {
  const Profile profile;
  Dice dice(13);
  for (int trial = 0; trial < 2000; ++trial) {
    const Parameters& set = profile.sets[static_cast<std::size_t>(dice.below(3))];
    const Chemistry chemistry(set, Celsius(dice.between(0, 45)));
    const double moisture = dice.between(0.45, 0.85);
    const Mix rice{1000 * moisture, 0, 3, 1000 * (1 - moisture)};
    const auto kind = static_cast<SugarKind>(dice.below(3));
    double last = 1.0;
    for (double grams = 0; grams < 2500; grams += dice.between(10, 300)) {
      const double now = equilibrium(rice + sugar_mix(grams, kind, set), chemistry).activity;
      REQUIRE(now <= last + 1e-9);
      last = now;
    }
  }
}

TEST_CASE("more water never lowers the water activity") {
  const Profile profile;
  Dice dice(14);
  for (int trial = 0; trial < 2000; ++trial) {
    const Parameters& set = profile.sets[static_cast<std::size_t>(dice.below(3))];
    const Chemistry chemistry(set, Celsius(dice.between(0, 45)));
    Mix mix{0, dice.between(0, 1000), dice.between(0, 100), dice.between(0, 600)};
    double last = 0.0;
    for (int i = 0; i < 20; ++i) {
      mix.water += dice.between(0.01, 80);
      const double now = equilibrium(mix, chemistry).activity;
      REQUIRE(now >= last - 1e-9);
      last = now;
    }
  }
}

TEST_CASE("below its optimum no guild ever slows down when it warms") {
  const Profile profile;
  Dice dice(15);
  for (int trial = 0; trial < 5000; ++trial) {
    const Parameters& set = profile.sets[static_cast<std::size_t>(dice.below(3))];
    const GuildLimits guild = limits(static_cast<Guild>(dice.below(4)), set);
    const double cool = dice.between(-10, guild.t_opt);
    const double warm = dice.between(cool, guild.t_opt);
    const double activity = dice.between(0.5, 1.0);
    REQUIRE(growth_rate(guild, Celsius(warm), activity) >=
            growth_rate(guild, Celsius(cool), activity));
    REQUIRE(growth_rate(guild, Celsius(warm), activity) <= guild.rate * (1 + 1e-12));
  }
}

TEST_CASE("more heat never lengthens the time to wake of a jar whose sugar is dissolved") {
  // With crystals it may: warm syrup dissolves more and its activity falls.
  Dice dice(16);
  for (int trial = 0; trial < 25; ++trial) {
    CAPTURE(trial);
    const JarRecipe recipe =
        jar_of(dice.between(300, 3000), dice.between(0.6, 0.75), 0.0, Cover::tight_lid);
    JarRecipe sweet = recipe;
    sweet.sugar = Grams(dice.between(0.2, 0.7) * recipe.rice->value());
    const JarModel jar = jar_after(sweet, 15, 70, 1);
    double cool = dice.between(5, 25);
    const double warm = dice.between(cool, 32);
    const auto at_cool = jar.time_to_wake_in(Celsius(cool), Percent(70));
    const auto at_warm = jar.time_to_wake_in(Celsius(warm), Percent(70));
    for (std::size_t m = 0; m < kMembers; ++m) CHECK_FALSE(sooner(at_cool[m], at_warm[m]));
  }
}

TEST_CASE("damper air never makes a jar drier") {
  Dice dice(17);
  for (int trial = 0; trial < 25; ++trial) {
    CAPTURE(trial);
    const JarRecipe recipe = any_jar(dice);
    if (!check_recipe(recipe)) continue;
    const double celsius = dice.between(5, 35);
    const double dry = dice.between(20, 90);
    const double damp = dice.between(dry, 100);
    const Figures in_dry = jar_after(recipe, celsius, dry, 40).figures();
    const Figures in_damp = jar_after(recipe, celsius, damp, 40).figures();
    CHECK(in_damp.water_gained_g->likely >= in_dry.water_gained_g->likely - 1e-6);
    CHECK(in_damp.body_activity->likely >= in_dry.body_activity->likely - 1e-6);
  }
}

TEST_CASE("air out of range is always refused, air in range never") {
  Dice dice(18);
  for (int trial = 0; trial < 2000; ++trial) {
    const double celsius = dice.between(-60, 120);
    const double percent = dice.between(-50, 150);
    const bool possible = celsius >= -20 && celsius <= 60 && percent >= 0 && percent <= 100;
    REQUIRE(Air::of(Celsius(celsius), Percent(percent)).has_value() == possible);
  }
}
