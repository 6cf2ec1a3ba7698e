#include "rules/culture/mix.h"

#include <doctest/doctest.h>

#include <cmath>

#include "tests/rules/culture/reference_table.h"

using namespace torpor;
using namespace torpor::rules::culture;
using torpor::rules::culture::testing::reference_table;

namespace {

// The likely set without what the reference tables leave out.
Parameters plain(double binding) {
  Parameters set = Profile().sets[kLikely];
  set.binding_share = binding;
  return set;
}
Mix rice(double moisture) { return {1000.0 * moisture, 0.0, 0.0, 1000.0 * (1.0 - moisture)}; }

}  // namespace

TEST_CASE("rice and sugar come to the activities worked out independently") {
  for (const auto& row : reference_table("mix_equilibrium")) {
    CAPTURE(row.label());
    const Parameters set = plain(row.number("binding"));
    const Mix mix = rice(row.number("rice_moisture")) +
                    sugar_mix(1000.0 * row.number("sugar_to_rice"), SugarKind::brown, set);
    const double activity = equilibrium(mix, Chemistry(set, Celsius(25))).activity;
    CHECK(std::abs(activity - row.number("activity")) <= row.number("tolerance"));
  }
}

TEST_CASE("the least sugar that leaves some undissolved agrees with the table") {
  for (const auto& row : reference_table("saturating_ratio")) {
    CAPTURE(row.label());
    const Parameters set = plain(row.number("binding"));
    const Chemistry chemistry(set, Celsius(row.number("temperature_degC")));
    const SugarNeed need =
        sugar_to_saturate(rice(row.number("rice_moisture")), SugarKind::brown, chemistry);
    CHECK(std::abs(need.sugar / 1000.0 - row.number("sugar_to_rice")) <= row.number("tolerance"));
    CHECK(need.reaches);
  }
}

TEST_CASE("inversion and glucose from starch lower the activity as worked out independently") {
  for (const auto& row : reference_table("mix_conversion")) {
    CAPTURE(row.label());
    const Parameters set = plain(1.0);
    Mix mix = rice(row.number("rice_moisture"));
    const double starch = row.number("starch_share") * mix.solids;
    mix.solids -= starch;
    mix.invert += starch * kMolarHexose / kMolarStarchUnit;
    mix.water -= starch * (kMolarHexose / kMolarStarchUnit - 1.0);
    mix = mix + sugar_mix(1000.0 * row.number("sugar_to_rice"), SugarKind::brown, set);
    const double moles = row.number("sucrose_share") * mix.sucrose / kMolarSucrose;
    mix.sucrose -= moles * kMolarSucrose;
    mix.invert += 2.0 * moles * kMolarHexose;
    mix.water -= moles * kMolarWater;
    const double activity = equilibrium(mix, Chemistry(set, Celsius(25))).activity;
    CHECK(std::abs(activity - row.number("activity")) <= row.number("tolerance"));
  }
}

TEST_CASE("an equilibrium always balances its water, for any mix") {
  const Parameters set = plain(1.0);
  const Chemistry chemistry(set, Celsius(20));
  for (const double water : {1e-6, 0.1, 5.0, 300.0, 5000.0}) {
    for (const double sucrose : {0.0, 1.0, 500.0}) {
      for (const double invert : {0.0, 0.5, 200.0}) {
        for (const double solids : {0.0, 10.0, 800.0}) {
          const Mix mix{water, sucrose, invert, solids};
          CAPTURE(water);
          CAPTURE(sucrose);
          CAPTURE(invert);
          CAPTURE(solids);
          const Equilibrium found = equilibrium(mix, chemistry);
          REQUIRE(found.activity >= 0.0);
          REQUIRE(found.activity <= 1.0);
          if (found.syrup_water <= 0.0 || sucrose + invert <= 0.0) continue;
          CHECK(syrup_state(mix, found.syrup_water, chemistry).water ==
                doctest::Approx(water).epsilon(1e-9));
        }
      }
    }
  }
}

TEST_CASE("nothing but water is pure water, and no water is nothing") {
  const Parameters set = plain(1.0);
  const Chemistry chemistry(set, Celsius(20));
  CHECK(equilibrium({100, 0, 0, 0}, chemistry).activity == 1.0);
  CHECK(equilibrium({0, 100, 0, 100}, chemistry).activity == 0.0);
  // Rice alone, drier than it can be: the isotherm speaks.
  CHECK(equilibrium({22.52, 0, 0, 100}, chemistry).activity == doctest::Approx(0.85).epsilon(1e-3));
  CHECK(equilibrium({60, 0, 0, 40}, chemistry).activity == 1.0);
}

TEST_CASE("undissolved sugar holds the activity still until the buffer is gone") {
  const Parameters set = plain(1.0);
  const Chemistry chemistry(set, Celsius(25));
  Mix mix = rice(0.5) + sugar_mix(1000, SugarKind::brown, set);
  const double buffer = water_buffer(mix, chemistry);
  // 26 g/kg, then .0007 for each g/kg: worked out apart from this code, as in mix_equilibrium.csv.
  CHECK(buffer / mix.mass() * 1000 == doctest::Approx(26).epsilon(0.04));
  mix.water += 0.999 * buffer;
  CHECK(equilibrium(mix, chemistry).dissolved_share < 1.0);
  CHECK(equilibrium(mix, chemistry).activity == doctest::Approx(0.840).epsilon(1e-3));
  mix.water += 0.002 * buffer;
  CHECK(equilibrium(mix, chemistry).dissolved_share == 1.0);
  CHECK(water_buffer(mix, chemistry) == 0.0);
  const double before = equilibrium(mix, chemistry).activity;
  mix.water += 0.010 * mix.mass();
  CHECK(equilibrium(mix, chemistry).activity - before == doctest::Approx(0.006).epsilon(0.2));
}

TEST_CASE("a 60 g topping takes about 27 g of water before its crystals vanish") {
  const Parameters set = plain(1.0);
  const double buffer =
      water_buffer(sugar_mix(60, SugarKind::brown, set), Chemistry(set, Celsius(25)));
  // Worked out apart from this code, from the formulas of mix_equilibrium.csv.
  CHECK(buffer == doctest::Approx(27).epsilon(0.03));
}

TEST_CASE("the water that gives an activity gives it back") {
  const Parameters set = plain(1.0);
  const Chemistry chemistry(set, Celsius(22));
  Mix mix = rice(0.6) + sugar_mix(1000, SugarKind::brown, set);
  for (const double activity : {0.3, 0.6, 0.8, 0.87, 0.95, 0.99}) {
    CAPTURE(activity);
    const auto water = water_at_activity(mix, activity, chemistry);
    REQUIRE(water);
    mix.water = *water;
    CHECK(equilibrium(mix, chemistry).activity == doctest::Approx(activity).epsilon(1e-6));
  }
  CHECK_FALSE(water_at_activity(mix, 1.0, chemistry));
  CHECK_FALSE(water_at_activity(mix, 0.0, chemistry));
}

TEST_CASE("sugar for a target is just enough, and what no sugar reaches is said") {
  const Parameters set = plain(1.0);
  const Chemistry chemistry(set, Celsius(25));
  const Mix wet = rice(0.6);
  const SugarNeed enough = sugar_for(wet, 0.87, SugarKind::brown, chemistry);
  CHECK(enough.reaches);
  CHECK(enough.activity == doctest::Approx(0.87).epsilon(1e-6));
  CHECK(sugar_for(wet, 1.0, SugarKind::brown, chemistry).sugar == 0.0);
  const SugarNeed most = sugar_for(wet, 0.60, SugarKind::brown, chemistry);
  CHECK_FALSE(most.reaches);
  CHECK(most.activity > 0.60);
  CHECK(most.sugar ==
        doctest::Approx(1.05 * sugar_to_saturate(wet, SugarKind::brown, chemistry).sugar));
}

TEST_CASE("the closed form without binding: 2.260 g of brown sugar per g of water saturate") {
  const Parameters set = plain(0.0);
  const SugarNeed need =
      sugar_to_saturate({100, 0, 0, 0}, SugarKind::brown, Chemistry(set, Celsius(25)));
  // r = s / (.9456 - .0134 s), s = 2.0741 g of sucrose per g of water (Vavrinecz at 25 degC).
  CHECK(need.sugar / 100 == doctest::Approx(2.260).epsilon(1e-3));
}

TEST_CASE("a set's model error shifts the activity but never past pure water") {
  Parameters set = plain(1.0);
  const Mix mix = rice(0.6) + sugar_mix(1000, SugarKind::brown, set);
  const double likely = equilibrium(mix, Chemistry(set, Celsius(25))).activity;
  set.activity_error = 0.006;
  CHECK(equilibrium(mix, Chemistry(set, Celsius(25))).activity ==
        doctest::Approx(1.006 * likely).epsilon(1e-9));
  CHECK(equilibrium({100, 0.1, 0, 0}, Chemistry(set, Celsius(25))).activity == 1.0);
}
