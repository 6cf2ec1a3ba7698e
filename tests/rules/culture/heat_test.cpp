#include "rules/culture/heat.h"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>
#include <sstream>

#include "tests/rules/culture/reference_table.h"

using namespace torpor;
using namespace torpor::rules::culture;
using torpor::rules::culture::testing::reference_table;

TEST_CASE("a packed jar's time constant is within 4 % of the series solution") {
  Parameters set = Profile().sets[kLikely];
  set.packed_density = 1344;
  for (const auto& row : reference_table("jar_time_constant")) {
    CAPTURE(row.label());
    set.film_coefficient = row.number("film");
    const double tau =
        time_constant({row.number("radius_m"), row.number("height_m")}, set) / 3600.0;
    CHECK(tau == doctest::Approx(row.number("hours")).epsilon(row.number("tolerance_relative")));
  }
}

TEST_CASE("lumped capacitance gives the textbook times") {
  for (const auto& row : reference_table("lumped")) {
    CAPTURE(row.label());
    // A sphere: volume over area is a sixth of the diameter.
    const double tau = row.number("density") * row.number("heat_capacity") *
                       row.number("diameter_m") / 6.0 / row.number("film");
    const double seconds = row.number("seconds");
    CHECK(lag_decay(seconds, tau) == doctest::Approx(row.number("share_left")).epsilon(0.12));
    const double exact = -tau * std::log(row.number("share_left"));
    CHECK(std::abs(exact - seconds) <= row.number("tolerance"));
  }
}

TEST_CASE("a lag step splits into any parts without changing end or integral") {
  const double tau = 10800.0;
  const LagStep whole = lag_step(20, 30, 7200, tau, lag_decay(7200, tau));
  const LagStep first = lag_step(20, 30, 1300, tau, lag_decay(1300, tau));
  const LagStep second = lag_step(first.end, 30, 5900, tau, lag_decay(5900, tau));
  CHECK(second.end == doctest::Approx(whole.end).epsilon(1e-14));
  CHECK(first.integral + second.integral == doctest::Approx(whole.integral).epsilon(1e-14));
}

TEST_CASE("a daily swing reaches the middle weakened and late, as a first-order lag must") {
  // tau 3 h under a period of 24 h: amplitude x 1/sqrt(1 + (w tau)^2) = .786, lag
  // atan(w tau)/w = 2.5 h.
  const double tau = 3 * 3600.0;
  double temperature = 20.0, highest = -100.0;
  int highest_at = 0;
  const double decay = lag_decay(60, tau);
  for (int minute = 0; minute < 5 * 1440; ++minute) {
    const double phase = 2 * std::numbers::pi * (minute + 0.5) / 1440.0;
    temperature = lag_step(temperature, 20 + 5 * std::sin(phase), 60, tau, decay).end;
    if (minute >= 4 * 1440 && temperature > highest) {
      highest = temperature;
      highest_at = minute - 4 * 1440;
    }
  }
  CHECK((highest - 20) / 5 == doctest::Approx(0.786).epsilon(2e-3));
  CHECK((highest_at - 360) / 60.0 == doctest::Approx(2.54).epsilon(0.02));
}

TEST_CASE("time above a threshold is exact while warming and cooling") {
  const double tau = 10000.0;
  // 20 towards 60: above 40 from tau ln 2 on.
  CHECK(seconds_above(40, 20, 60, 10000, tau) ==
        doctest::Approx(10000 - tau * std::log(2.0)).epsilon(1e-12));
  CHECK(seconds_above(40, 60, 20, 10000, tau) ==
        doctest::Approx(tau * std::log(2.0)).epsilon(1e-12));
  CHECK(seconds_above(40, 50, 60, 500, tau) == 500.0);
  CHECK(seconds_above(40, 20, 39, 1e6, tau) == 0.0);
  CHECK(seconds_above(40, 40, 40, 100, tau) == 0.0);  // at it is not above it
}

TEST_CASE("the mean kinetic temperature gives its worked values") {
  for (const auto& row : reference_table("kinetic_temperature")) {
    CAPTURE(row.label());
    KineticMean mean;
    std::istringstream samples(row.text("samples"));
    for (std::string sample; samples >> sample;) {
      const std::size_t colon = sample.find(':');
      mean.add(KineticMean::weight(Celsius(std::stod(sample.substr(0, colon)))),
               3600.0 * std::stod(sample.substr(colon + 1)));
    }
    CHECK(std::abs(mean.mean().value() - row.number("mean_degC")) <= row.number("tolerance"));
  }
}

TEST_CASE("the mean kinetic temperature is never below the mean") {
  KineticMean mean;
  for (const double t : {5.0, 12.0, 31.0}) mean.add(KineticMean::weight(Celsius(t)), 60);
  CHECK(mean.mean().value() > 16.0);
  CHECK(KineticMean().empty());
}
