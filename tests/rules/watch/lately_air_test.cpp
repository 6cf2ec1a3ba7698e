// The mean air of a place against a sum over every minute of the same readings.
#include <doctest/doctest.h>

#include <cmath>
#include <random>

#include "rules/air/psychrometrics.h"
#include "rules/watch/lately_air.h"
#include "tests/rules/watch/story.h"

namespace torpor::rules {
namespace {

constexpr Duration kLate = std::chrono::hours(1);

AirTimeline one_sensor() { return AirTimeline({0}, kLate, 2 * kLate); }

struct AirSaid {
  double at = 0.0;  // minutes
  double temperature = 0.0, humidity = 0.0;
};

void hear(AirTimeline& air, LatelyAir& lately, const AirSaid& said) {
  lately.settle(air, minute(said.at) - kLate);
  const Duration hold = std::chrono::minutes(30);
  (void)air.insert({minute(said.at), 0, Quantity::temperature, said.temperature, 0.0, hold});
  (void)air.insert({minute(said.at), 0, Quantity::humidity, said.humidity, 0.0, hold});
}

std::vector<AirSaid> some_days(unsigned seed, int days) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> step(1.0, 12.0), warmth(14.0, 26.0), damp(50.0, 90.0);
  std::vector<AirSaid> all;
  for (double at = 0.0; at < days * 1440.0; at += step(random)) {
    // Half a day of silence in the middle.
    if (at > 1440.0 && at < 2160.0) continue;
    all.push_back({std::floor(at), warmth(random), damp(random)});
  }
  return all;
}

TEST_CASE("the mean is that of every minute, each hour weighing less by its age") {
  AirTimeline air = one_sensor();
  LatelyAir lately;
  const std::vector<AirSaid> all = some_days(1, 4);
  for (const AirSaid& said : all) hear(air, lately, said);
  const auto settled = lately.save().settled;
  REQUIRE(settled);
  // From scratch: minute by minute.
  double weights = 0.0, sum = 0.0, vapours = 0.0;
  const int hours = static_cast<int>((*settled - kMidnight) / std::chrono::hours(1));
  for (int hour = 0; hour < hours; ++hour) {
    double known = 0.0, temperature = 0.0, vapour = 0.0;
    for (int m = hour * 60; m < (hour + 1) * 60; ++m) {
      const AirSaid* holds = nullptr;
      for (const AirSaid& said : all) {
        if (said.at <= m && m < said.at + 30.0) holds = &said;
      }
      if (holds == nullptr) continue;
      known += 1.0;
      temperature += holds->temperature;
      vapour += air::vapour_pressure(Celsius(holds->temperature), Percent(holds->humidity)).value();
    }
    if (known < 30.0) continue;
    const double weight = std::exp(-(hours - 1 - hour) / LatelyAir::kMemoryHours);
    weights += weight;
    sum += weight * temperature / known;
    vapours += weight * vapour / known;
  }
  const auto mean = lately.mean();
  REQUIRE(mean);
  REQUIRE(mean->vapour);
  // Hours are kept as single floats.
  CHECK(mean->temperature.value() == doctest::Approx(sum / weights).epsilon(1e-6));
  CHECK(mean->vapour->value() == doctest::Approx(vapours / weights).epsilon(1e-6));
}

TEST_CASE("readings that come late, but not too late, make no difference") {
  AirTimeline in_order = one_sensor(), mixed = one_sensor();
  LatelyAir lately, lately_mixed;
  std::vector<AirSaid> all = some_days(2, 3);
  for (const AirSaid& said : all) hear(in_order, lately, said);
  // Every fifth changes places with the next.
  for (std::size_t i = 0; i + 1 < all.size(); i += 5) {
    if (all[i + 1].at - all[i].at < 50.0) std::swap(all[i], all[i + 1]);
  }
  for (const AirSaid& said : all) hear(mixed, lately_mixed, said);
  CHECK(lately.save().day == lately_mixed.save().day);
  CHECK(lately.mean() == lately_mixed.mean());
}

TEST_CASE("little known air says nothing, and a long silence forgets what was") {
  AirTimeline air = one_sensor();
  LatelyAir lately;
  for (double at = 0.0; at < 7 * 60.0; at += 10.0) hear(air, lately, {at, 20.0, 60.0});
  CHECK_FALSE(lately.mean());
  for (double at = 7 * 60.0; at < 9 * 60.0; at += 10.0) hear(air, lately, {at, 20.0, 60.0});
  REQUIRE(lately.mean());
  CHECK(lately.mean()->temperature.value() == doctest::Approx(20.0));
  CHECK(lately.hour_of_day(3)->temperature.value() == doctest::Approx(20.0));
  hear(air, lately, {30 * 1440.0, 20.0, 60.0});
  CHECK_FALSE(lately.mean());
  CHECK_FALSE(lately.hour_of_day(3));
}

}  // namespace
}  // namespace torpor::rules
