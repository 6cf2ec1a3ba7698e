#include "rules/culture/sorption.h"

#include <doctest/doctest.h>

#include <cmath>

#include "tests/rules/culture/reference_table.h"

using namespace torpor::rules::culture;
using torpor::rules::culture::testing::reference_table;

TEST_CASE("rice starch holds the water its published isotherm says") {
  const Profile profile;
  for (const auto& row : reference_table("starch_sorption")) {
    CAPTURE(row.label());
    const double water = sorbed_water(row.number("activity"), profile.sets[kLikely]).water;
    CHECK(std::abs(water - row.number("water_g_per_g")) <= row.number("tolerance"));
  }
}

TEST_CASE("the isotherm rises everywhere and its slope is that of finite differences") {
  const Profile profile;
  const Parameters& set = profile.sets[kLikely];
  double last = -1.0;
  for (int i = 0; i <= 1000; ++i) {
    const double water = sorbed_water(i / 1000.0, set).water;
    CHECK(water > last);
    last = water;
  }
  for (const double a : {0.05, 0.3, 0.6, 0.85, 0.98}) {
    const double rise =
        (sorbed_water(a + 1e-6, set).water - sorbed_water(a - 1e-6, set).water) / 2e-6;
    CHECK(sorbed_water(a, set).per_activity == doctest::Approx(rise).epsilon(1e-6));
  }
}

TEST_CASE("the inverse of the isotherm gives the activity back, and 1 beyond what solids hold") {
  const Profile profile;
  const Parameters& set = profile.sets[kLikely];
  for (const double a : {0.0, 0.11, 0.5, 0.85, 0.999}) {
    CHECK(sorption_activity(sorbed_water(a, set).water, set) == doctest::Approx(a));
  }
  CHECK(sorption_activity(sorbed_water(1.0, set).water, set) == 1.0);
  CHECK(sorption_activity(5.0, set) == 1.0);
}
