#include "rules/culture/layers.h"

#include <doctest/doctest.h>

#include <cmath>
#include <random>

#include "tests/rules/culture/jars.h"

using namespace torpor;
using namespace torpor::rules::culture;
using torpor::rules::culture::testing::kSet;

namespace {

constexpr double kArea = 0.0225;        // m2
constexpr double kSaturation = 2339.0;  // Pa, 20 degC

Mix body() { return Mix{660, 0, 5, 535} + sugar_mix(1320, SugarKind::brown, kSet); }
Mix topping() { return sugar_mix(60, SugarKind::brown, kSet); }
LayerStack stack(const Mix& on_top = topping()) {
  return LayerStack(body(), on_top, kArea, Chemistry(kSet, Celsius(20)));
}
LayerStack::Outside outside(double humidity, double conductance = 4e-5) {
  return {conductance, humidity * kSaturation, kSaturation};
}

}  // namespace

TEST_CASE("a stack holds what was put into it") {
  const LayerStack jar = stack();
  CHECK(jar.layers().size() == kMostLayers);
  CHECK(jar.has_topping());
  const Mix whole = jar.whole();
  CHECK(whole.water == doctest::Approx(body().water + topping().water));
  CHECK(whole.sucrose == doctest::Approx(body().sucrose + topping().sucrose));
  CHECK(stack(Mix{}).layers().size() == kBodyLayers);
  CHECK(stack(sugar_mix(0.9, SugarKind::brown, kSet)).layers().size() == kBodyLayers);
  CHECK(LayerStack().empty());
}

TEST_CASE("water only moves: what the air gave is what the layers gained") {
  LayerStack jar = stack();
  const Chemistry chemistry(kSet, Celsius(20));
  std::mt19937 random(7);
  std::uniform_real_distribution<double> humidity(0.0, 1.0), hours(0.01, 48.0), wide(-7.0, -3.0);
  double gained = 0.0;
  const double before = jar.whole().water;
  for (int i = 0; i < 3000; ++i) {
    gained += jar.exchange(outside(humidity(random), std::pow(10.0, wide(random))),
                           3600 * hours(random), chemistry);
    for (const Layer& layer : jar.layers()) {
      REQUIRE(layer.mix.water >= 0.0);
      REQUIRE(std::isfinite(layer.activity));
    }
  }
  CHECK(jar.whole().water - before == doctest::Approx(gained).epsilon(1e-9));
}

TEST_CASE("even bone-dry or dripping air through no cover at all is borne") {
  const Chemistry chemistry(kSet, Celsius(20));
  for (const Mix& on_top : {Mix{}, topping(), sugar_mix(60, SugarKind::white, kSet)}) {
    LayerStack jar = stack(on_top);
    double gained = 0.0;
    const double before = jar.whole().water;
    for (int day = 0; day < 400; ++day) {
      gained += jar.exchange(outside(day < 200 ? 0.0 : 1.0, 0.1), 86400, chemistry);
    }
    CHECK(jar.whole().water - before == doctest::Approx(gained).epsilon(1e-9));
    CHECK(jar.surface_activity() > 0.99);
    CHECK(jar.surface_activity() <= 1.0);
  }
}

TEST_CASE("a stack in air at its own activity neither gains nor loses") {
  const Chemistry chemistry(kSet, Celsius(20));
  LayerStack jar = stack(Mix{});
  const double own = jar.surface_activity();
  double gained = 0.0;
  for (int i = 0; i < 100; ++i) gained += jar.exchange(outside(own), 3600, chemistry);
  CHECK(std::abs(gained) < 1e-6);
}

TEST_CASE("the surface dries before the middle, and its skin before the layer under it") {
  const Chemistry chemistry(kSet, Celsius(20));
  LayerStack jar = stack(Mix{});
  for (int i = 0; i < 24 * 30; ++i) (void)jar.exchange(outside(0.5), 3600, chemistry);
  CHECK(jar.surface_activity() < jar.layers()[0].activity);
  for (std::size_t i = 0; i + 1 < jar.layers().size(); ++i) {
    CHECK(jar.layers()[i].activity <= jar.layers()[i + 1].activity);
  }
}

TEST_CASE("dry sugar on top draws water from the body") {
  const Chemistry chemistry(kSet, Celsius(20));
  LayerStack jar = stack();
  const double dry = jar.surface().mix.water;
  for (int i = 0; i < 24 * 30; ++i) (void)jar.exchange(outside(0.8, 0.0), 3600, chemistry);
  CHECK(jar.surface().mix.water > dry + 1.0);
  CHECK(jar.surface_activity() == doctest::Approx(jar.body_activity()).epsilon(0.02));
}

TEST_CASE("dew drips from below onto the top, never more than a share of a layer") {
  LayerStack jar = stack();
  const double below = jar.layers()[1].mix.water;
  const double before = jar.whole().water;
  CHECK(jar.drip(0.1) == doctest::Approx(0.1));
  CHECK(jar.drip(1e9) == doctest::Approx(0.02 * (below - 0.1)));
  CHECK(jar.drip(-1.0) == 0.0);
  CHECK(jar.whole().water == doctest::Approx(before));
}

TEST_CASE("water can be added, and taken only as far as there is some") {
  const Chemistry chemistry(kSet, Celsius(20));
  LayerStack jar = stack();
  CHECK(jar.add_water(10, chemistry) == doctest::Approx(10));
  const double held = jar.whole().water;
  CHECK(jar.add_water(-20, chemistry) == doctest::Approx(-20));
  CHECK(jar.add_water(-1e6, chemistry) == doctest::Approx(-0.9 * (held - 20)).epsilon(0.2));
  CHECK(jar.whole().water > 0.0);
}

TEST_CASE("the surface is pulled towards an activity a share of the way") {
  const Chemistry chemistry(kSet, Celsius(20));
  LayerStack jar = stack(Mix{});
  const double before = jar.surface_activity();
  CHECK(jar.pull_surface_to(0.95, 0.3, chemistry) > 0.0);
  CHECK(jar.surface_activity() == doctest::Approx(before + 0.3 * (0.95 - before)).epsilon(1e-6));
  CHECK(jar.pull_surface_to(0.5, 1.0, chemistry) < 0.0);
  CHECK(jar.surface_activity() == doctest::Approx(0.5).epsilon(1e-6));
}

TEST_CASE("acts keep the masses: topping, stirring, taking") {
  const Chemistry chemistry(kSet, Celsius(20));
  LayerStack jar = stack(Mix{});
  jar.add_topping(topping(), chemistry);
  CHECK(jar.layers().size() == kMostLayers);
  jar.add_topping(topping(), chemistry);
  CHECK(jar.surface().mix.sucrose == doctest::Approx(2 * topping().sucrose));
  jar.stir_in(sugar_mix(100, SugarKind::brown, kSet), chemistry);
  CHECK_FALSE(jar.has_topping());
  CHECK(jar.whole().mass() == doctest::Approx(body().mass() + 2 * topping().mass() +
                                              sugar_mix(100, SugarKind::brown, kSet).mass()));
  const double mass = jar.whole().mass();
  jar.remove(0.25, chemistry);
  CHECK(jar.whole().mass() == doctest::Approx(0.75 * mass));
}

TEST_CASE("inversion takes one mole of water for each mole of sucrose, in the body only") {
  LayerStack jar = stack();
  const Mix before = jar.body_mix();
  const Mix top = jar.surface().mix;
  jar.invert_sucrose(0.1);
  const Mix after = jar.body_mix();
  const double moles = 0.1 * before.sucrose / kMolarSucrose;
  CHECK(before.water - after.water == doctest::Approx(moles * kMolarWater));
  CHECK(after.invert - before.invert == doctest::Approx(2 * moles * kMolarHexose));
  CHECK(after.mass() == doctest::Approx(before.mass()).epsilon(1e-4));
  CHECK(jar.surface().mix == top);
}
