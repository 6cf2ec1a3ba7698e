#include "rules/culture/growth.h"

#include <doctest/doctest.h>

#include <cmath>

#include "tests/rules/culture/reference_table.h"

using namespace torpor;
using namespace torpor::rules::culture;
using torpor::rules::culture::testing::reference_table;

TEST_CASE("the cardinal temperature model gives its worked values") {
  for (const auto& row : reference_table("cardinal_temperature")) {
    CAPTURE(row.label());
    const double factor = cardinal_temperature(row.number("temperature_degC"), row.number("t_min"),
                                               row.number("t_opt"), row.number("t_max"));
    CHECK(std::abs(factor - row.number("factor")) <= row.number("tolerance"));
  }
}

TEST_CASE("the cardinal activity model gives its worked values") {
  for (const auto& row : reference_table("cardinal_activity")) {
    CAPTURE(row.label());
    const double factor =
        cardinal_activity(row.number("activity"), row.number("a_min"), row.number("a_opt"));
    CHECK(std::abs(factor - row.number("factor")) <= row.number("tolerance"));
  }
}

TEST_CASE("nothing grows at or beyond its cardinal temperatures") {
  for (const double t : {-40.0, 4.999, 5.0, 42.0, 42.001, 90.0}) {
    CHECK(cardinal_temperature(t, 5, 32, 42) == 0.0);
  }
  CHECK(cardinal_temperature(5.001, 5, 32, 42) > 0.0);
  CHECK(cardinal_temperature(41.999, 5, 32, 42) > 0.0);
}

TEST_CASE("growth starts just above the least activity and stays full above the best one") {
  const Profile profile;
  const GuildLimits yeast = limits(Guild::yeast, profile.sets[kLikely]);
  CHECK(growth_rate(yeast, Celsius(25), 0.88) == 0.0);
  CHECK(growth_rate(yeast, Celsius(25), 0.8801) > 0.0);
  CHECK(cardinal_activity(0.99, 0.88, 0.99) == 1.0);
  CHECK(cardinal_activity(1.0, 0.88, 0.99) == 1.0);
}

TEST_CASE("the worked rate: Z. rouxii at 25 degC and 0.85") {
  // gamma .7895 x .5530 (cardinal_temperature.csv, cardinal_activity.csv) x mu_opt .35 = .15282 /h;
  // a lag work of 3 is over after 19.6 h.
  const GuildLimits rouxii{5, 32, 42, 0.62, 0.96, 0.35};
  const double rate = growth_rate(rouxii, Celsius(25), 0.85);
  CHECK(rate == doctest::Approx(0.15282).epsilon(2e-4));
  CHECK(3.0 / rate == doctest::Approx(19.6).epsilon(2e-3));
}

TEST_CASE("slow work takes the days worked out for the likely set") {
  const Profile profile;
  const Parameters& set = profile.sets[kLikely];
  const GuildLimits slow = limits(Guild::osmotolerant, set);
  for (const auto& row : reference_table("slow_work")) {
    CAPTURE(row.label());
    const double rate =
        growth_rate(slow, Celsius(row.number("temperature_degC")), row.number("activity"));
    const double days = work_to_first_sign(set) / rate / 24.0;
    CHECK(days == doctest::Approx(row.number("days")).epsilon(row.number("tolerance_relative")));
  }
  CHECK(growth_rate(slow, Celsius(20), 0.82) == 0.0);
}

// Our own defaults, without a source.
TEST_CASE("the work to the first sign is 7, 11 and 16") {
  const Profile profile;
  CHECK(work_to_first_sign(profile.sets[kCautious]) == 7.0);
  CHECK(work_to_first_sign(profile.sets[kLikely]) == 11.0);
  CHECK(work_to_first_sign(profile.sets[kHopeful]) == 16.0);
}

TEST_CASE("the published least activities lie inside the profile's ranges") {
  for (const auto& row : reference_table("minimum_water_activity")) {
    CAPTURE(row.label());
    const ParameterFacts* facts = parameter_named(row.text("key"));
    REQUIRE(facts != nullptr);
    CHECK(row.number("least_activity") >= facts->lowest);
    CHECK(row.number("least_activity") <= facts->highest);
  }
}

TEST_CASE("progress grows with work, halves at rest, and never consumes work at rate zero") {
  CHECK(progressed(0.2, 0.11, 10, 11, 30) == doctest::Approx(0.3));
  CHECK(progressed(0.8, 0.0, 30 * 24, 11, 30) == doctest::Approx(0.4));
  CHECK(progressed(0.8, 0.0, 1000, 11, 0) == 0.8);  // half-life 0: never
  CHECK(progressed(0.0, 0.0, 1000, 11, 30) == 0.0);
  // Two steps are one step.
  CHECK(progressed(progressed(0.8, 0, 10, 11, 7), 0, 14, 11, 7) ==
        doctest::Approx(progressed(0.8, 0, 24, 11, 7)).epsilon(1e-14));
}

TEST_CASE("every guild has words") {
  CHECK(guild_name(Guild::yeast) == "common yeasts");
  CHECK(guild_name(Guild::lacto) == "lactic bacteria");
  CHECK(guild_name(Guild::mould) == "moulds on the surface");
  CHECK(guild_name(Guild::osmotolerant) == "sugar-loving yeasts");
}
