// Formula: USP <1160> with dH/R = 10000 K. Worked values computed once from the formula with an
// independent program; the third-party example of four spans prints 22.36.
#include "daemon/ledger/mean_kinetic.h"

#include <doctest/doctest.h>

#include <cmath>
#include <random>
#include <utility>
#include <vector>

namespace torpor::daemon {

using std::chrono::hours;

namespace {

double mean_of(const std::vector<std::pair<double, int>>& spans) {
  MeanKinetic mean;
  for (const auto& [celsius, lasted] : spans) mean.add(Celsius(celsius), hours(lasted));
  REQUIRE(mean.value());
  return mean.value()->value();
}

void check_to_six_decimals(double found, double printed) {
  CHECK(std::abs(found - printed) <= 0.51e-6);
}

}  // namespace

TEST_CASE("mean kinetic temperature agrees with worked values") {
  check_to_six_decimals(mean_of({{20, 1}, {30, 1}}), 26.259887);
  check_to_six_decimals(mean_of({{15, 1}, {25, 1}, {35, 1}}), 28.196529);
  check_to_six_decimals(mean_of({{10, 1}, {20, 1}, {30, 1}, {40, 1}}), 30.642929);
  check_to_six_decimals(mean_of({{22, 29 * 24}, {40, 24}}), 23.599583);
  check_to_six_decimals(mean_of({{20, 23}, {40, 1}}), 22.447930);
  check_to_six_decimals(mean_of({{23, 200}, {28, 20}, {30, 8}, {21, 300}}), 22.363112);
  check_to_six_decimals(mean_of({{25, 1}, {25, 7}}), 25.0);
  std::vector<std::pair<double, int>> months;
  for (const double celsius : {15, 16, 18, 20, 23, 26, 28, 28, 25, 21, 18, 16}) {
    months.emplace_back(celsius, 1);
  }
  check_to_six_decimals(mean_of(months), 22.284815);
}

TEST_CASE("mean kinetic temperature is never below the time-weighted mean") {
  std::mt19937 random(1160);
  for (int round = 0; round < 200; ++round) {
    MeanKinetic kinetic;
    double sum = 0.0, weight = 0.0;
    for (int i = 0; i < 20; ++i) {
      const double celsius = std::uniform_real_distribution(-20.0, 60.0)(random);
      const int lasted = std::uniform_int_distribution(1, 500)(random);
      kinetic.add(Celsius(celsius), hours(lasted));
      sum += celsius * lasted;
      weight += lasted;
    }
    CHECK(kinetic.value()->value() >= sum / weight - 1e-9);
  }
}

TEST_CASE("without time there is no mean kinetic temperature") {
  MeanKinetic mean;
  CHECK_FALSE(mean.value());
  mean.add(Celsius(20), hours(0));
  mean.add(Celsius(20), hours(-1));
  CHECK_FALSE(mean.value());
}

}  // namespace torpor::daemon
