#include "rules/culture/sugar.h"

#include <doctest/doctest.h>

#include <cmath>

#include "tests/rules/culture/reference_table.h"

using namespace torpor;
using namespace torpor::rules::culture;
using torpor::rules::culture::testing::reference_table;

namespace {
const double kRootSucrose = std::sqrt(6.47);
const double kRootInvert = std::sqrt(2.25);
}  // namespace

TEST_CASE("the solubility of sucrose agrees with both families of tables") {
  for (const auto& row : reference_table("sucrose_solubility")) {
    CAPTURE(row.label());
    const double percent = sucrose_solubility_percent(Celsius(row.number("temperature_degC")));
    CHECK(std::abs(percent - row.number("sucrose_percent")) <= row.number("tolerance"));
  }
}

TEST_CASE("grams of sucrose per gram of water follow from the percentage") {
  CHECK(sucrose_per_water(Celsius(25)) == doctest::Approx(2.0741).epsilon(1e-4));
}

TEST_CASE("the activity of sucrose solutions agrees with osmotic coefficients at 0.5 to 6 mol/kg") {
  for (const auto& row : reference_table("sucrose_water_activity")) {
    CAPTURE(row.label());
    const double m = row.number("molality_mol_kg");
    const double published = std::exp(-0.0180153 * m * row.number("osmotic_coefficient"));
    const double ours =
        solution_activity(1000.0 / kMolarWater, m, 0.0, kRootSucrose, kRootInvert).activity;
    CHECK(std::abs(ours - published) <= row.number("tolerance_activity"));
  }
}

TEST_CASE("a saturated sucrose solution stands at 0.85 within 0.01") {
  // 25 degC: Robinson & Stokes 1961 .8479, Starzak & Peacock 1997 .8474, Norrish .8468, all
  // computed at Vavrinecz's solubility.
  const double ratio = sucrose_per_water(Celsius(25)) * kMolarWater / kMolarSucrose;
  const double activity = saturated_activity(1, ratio, 0, kRootSucrose, kRootInvert).activity;
  CHECK(activity == doctest::Approx(0.8468).epsilon(1e-4));
  CHECK(std::abs(activity - 0.8479) < 0.002);
}

TEST_CASE("a fructose syrup of 80 % by weight stands near 0.594") {
  const double activity =
      solution_activity(20 / kMolarWater, 0, 80 / kMolarHexose, kRootSucrose, kRootInvert).activity;
  // Norrish's equation with K 2.25 (Chirife, Favetto & Ferro Fontan 1982, from memory), by hand:
  // x = .714, a = x exp(-2.25 (1 - x)^2).
  CHECK(activity == doctest::Approx(0.594).epsilon(1e-3));
}

TEST_CASE("the slopes of activity by water are those of finite differences") {
  constexpr double kStep = 1e-5;
  for (const double water : {0.5, 2.0, 10.0}) {
    for (const double invert : {0.01, 0.3}) {
      CAPTURE(water);
      CAPTURE(invert);
      const auto free = [&](double w) {
        return solution_activity(w, 0.4, invert, kRootSucrose, kRootInvert);
      };
      const auto held = [&](double w) {
        return saturated_activity(w, 0.109, invert, kRootSucrose, kRootInvert);
      };
      CHECK(free(water).per_mol_water ==
            doctest::Approx((free(water + kStep).activity - free(water - kStep).activity) /
                            (2 * kStep))
                .epsilon(1e-5));
      CHECK(held(water).per_mol_water ==
            doctest::Approx((held(water + kStep).activity - held(water - kStep).activity) /
                            (2 * kStep))
                .epsilon(1e-5));
    }
  }
}

// Brown: USDA FoodData 19334, "Sugars, brown" (from memory): water 1.34, sucrose 94.56,
// glucose 1.35, fructose 1.11 %. White and raw: our own defaults, without a source.
TEST_CASE("sugar is made of water, sucrose, invert and little else") {
  const Parameters set = Profile().sets[kLikely];
  const SugarMakeup brown = makeup(SugarKind::brown, set);
  CHECK(brown.water == doctest::Approx(0.0134));
  CHECK(brown.sucrose == doctest::Approx(0.9456));
  CHECK(brown.invert == doctest::Approx(0.0246));
  CHECK(makeup(SugarKind::white, set).sucrose == doctest::Approx(0.999));
  CHECK(makeup(SugarKind::raw, set).sucrose == doctest::Approx(0.85));
}
