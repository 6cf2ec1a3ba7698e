#include "rules/culture/mouth.h"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>

#include "rules/air/psychrometrics.h"
#include "tests/rules/culture/reference_table.h"

using namespace torpor;
using namespace torpor::rules::culture;
using torpor::rules::culture::testing::reference_table;

TEST_CASE("the diffusivity of vapour in air agrees with handbooks") {
  for (const auto& row : reference_table("vapour_diffusivity")) {
    CAPTURE(row.label());
    CHECK(vapour_diffusivity(Celsius(row.number("temperature_degC"))) ==
          doctest::Approx(row.number("diffusivity_m2s")).epsilon(row.number("tolerance_relative")));
  }
}

TEST_CASE("a Stefan tube evaporates as the textbooks say") {
  for (const auto& row : reference_table("stefan_tube")) {
    CAPTURE(row.label());
    const double surface = row.number("surface_Pa");
    const double top = row.number("top_Pa");
    const double total = row.number("total_Pa");
    const double fick = row.number("diffusivity_m2s") * (surface - top) /
                        (8.314462618 * row.number("temperature_K") * row.number("height_m"));
    const double factor = row.number("stagnant") != 0.0
                              ? stefan_factor(Pascal(surface), Pascal(top), Pascal(total))
                              : 1.0;
    CHECK(factor * fick ==
          doctest::Approx(row.number("flux_mol_m2s")).epsilon(row.number("tolerance_relative")));
  }
}

TEST_CASE("Stefan's factor joins smoothly where both ends are nearly equal") {
  const double near = stefan_factor(Pascal(3000), Pascal(3009), Pascal(101325));
  const double far = stefan_factor(Pascal(3000), Pascal(3011), Pascal(101325));
  CHECK(near == doctest::Approx(101325.0 / (101325 - 3004.5)).epsilon(1e-9));
  CHECK(far == doctest::Approx(101325.0 / (101325 - 3005.5)).epsilon(1e-8));
  // 1.028 at 25 degC, a = .85 against 90 %: P over the log mean of P - p (Bird, Stewart &
  // Lightfoot, Transport Phenomena, diffusion through a stagnant gas; from memory), by hand.
  CHECK(stefan_factor(Pascal(2694), Pascal(2853), Pascal(101325)) ==
        doctest::Approx(1.028).epsilon(1e-3));
}

TEST_CASE("water through an 11 cm mouth agrees with the table of covers, both ways") {
  const Parameters set = Profile().sets[kLikely];
  const Celsius warm(25);
  const double saturation = rules::air::saturation_vapour_pressure(warm).value();
  for (const auto& row : reference_table("mouth_flux")) {
    CAPTURE(row.label());
    Mouth mouth;
    mouth.area = std::numbers::pi * 0.055 * 0.055;
    mouth.surface = mouth.area;
    mouth.headspace = row.number("headspace_m");
    mouth.permeance = row.number("permeance_kg_m2sPa");
    const double inside = 0.85 * saturation;
    const double outside = row.number("outside_percent") / 100 * saturation;
    const double gain = 86400 * vapour_conductance(mouth, warm, set) * (outside - inside) *
                        stefan_factor(Pascal(inside), Pascal(outside), Pascal(101325));
    CHECK(std::abs(gain - row.number("gain_g_day")) <= row.number("tolerance"));
  }
}

TEST_CASE("one centimetre of still air passes 1.82e-8 kg/(m2 s Pa)") {
  // D/(Rv T L) with Marrero & Mason's D of 2.505e-5 m2/s (vapour_diffusivity.csv), Rv 461.5 J/(kg
  // K).
  CHECK(still_air_passage(Celsius(25)) / 0.01 == doctest::Approx(1.82e-8).epsilon(2e-3));
}

TEST_CASE("a crust slows the flux, and soaked paper holds nothing back") {
  const Parameters set = Profile().sets[kLikely];
  Mouth mouth{0.0095, 0.0095, 0.05, 4e-9, false, 0.0};
  const double bare = vapour_conductance(mouth, Celsius(20), set);
  mouth.crust = 0.005;
  CHECK(vapour_conductance(mouth, Celsius(20), set) < 0.7 * bare);
  mouth.crust = 0.0;
  mouth.wet_cover = true;
  CHECK(vapour_conductance(mouth, Celsius(20), set) > 1.5 * bare);
  // A closed profile value (0) is no division by zero.
  mouth.wet_cover = false;
  mouth.permeance = 0.0;
  CHECK(vapour_conductance(mouth, Celsius(20), set) < 1e-6 * bare);
}

// The gain and where it begins are our own defaults, without a source.
TEST_CASE("damp paper passes more, from 70 to 90 % and no further") {
  const Parameters set = Profile().sets[kLikely];
  CHECK(damp_paper_factor(0.40, set) == 1.0);
  CHECK(damp_paper_factor(0.70, set) == 1.0);
  CHECK(damp_paper_factor(0.80, set) == doctest::Approx(1.5));
  CHECK(damp_paper_factor(0.90, set) == doctest::Approx(2.0));
  CHECK(damp_paper_factor(1.00, set) == doctest::Approx(2.0));
}

TEST_CASE("every cover is found by its told name") {
  for (const char* name : {"tissue", "cloth", "paper", "kraft", "double kraft", "waxed paper",
                           "film", "lid turned back", "tight lid", "airlock"}) {
    const auto cover = cover_named(name);
    REQUIRE(cover);
    CHECK(facts(*cover).name == name);
  }
  CHECK_FALSE(cover_named("lid"));
  CHECK_FALSE(facts(Cover::tight_lid).vents_gas);
  CHECK(facts(Cover::airlock).vents_gas);
  CHECK_FALSE(facts(Cover::lid_turned_back).airy);
}

TEST_CASE("a tighter kind of cover is never given more passage by a set") {
  const Profile profile;
  for (const Parameters& set : profile.sets) {
    CHECK(set.tissue_permeance >= set.kraft_permeance);
    CHECK(set.kraft_permeance >= set.double_kraft_permeance);
    CHECK(set.double_kraft_permeance >= set.waxed_paper_permeance);
    CHECK(set.waxed_paper_permeance >= set.film_permeance);
    CHECK(set.film_permeance >= set.tight_lid_permeance);
  }
}
