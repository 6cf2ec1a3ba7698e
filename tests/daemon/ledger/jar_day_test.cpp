#include "daemon/ledger/jar_day.h"

#include <doctest/doctest.h>

namespace torpor::daemon {
namespace {

constexpr Instant kDay = instant_of(1'767'225'600'000);  // 2026-01-01T00:00:00Z
constexpr std::uint64_t kIdentity = 0xfedc'ba98'7654'3210;

ExposureStep spoken(int from_h, int to_h, double celsius, std::optional<double> percent) {
  ExposureStep step;
  step.from = kDay + std::chrono::hours(from_h);
  step.to = kDay + std::chrono::hours(to_h);
  step.place = "cellar/shelf-1";
  step.sensor = "s1";
  step.temperature = Celsius(celsius);
  if (!percent) return step;
  step.humidity = Percent(*percent);
  step.humidity_sensor = "kühl/2";
  step.humid_temperature = Celsius(celsius - 0.1);
  return step;
}

JarDay sample() {
  JarDay day{kDay, kDay + std::chrono::days(1), {}, {}, {}};
  HalfDay before{kDay, kDay + kHalfDay, std::chrono::hours(9), {}};
  before.steps = {spoken(0, 3, -0.0, std::nullopt), spoken(3, 12, 21.3, 64.9)};
  HalfDay after{kDay + kHalfDay, day.to, {}, {ExposureStep{}}};
  after.steps[0].from = after.from;
  after.steps[0].to = after.to;
  for (const ExposureStep& step : before.steps) day.air.add(step);
  day.halves = {before, after};
  day.end = {day.to, rules::culture::Ensemble{0.87, 0.8512345678901234, 0.83}, std::nullopt,
             rules::culture::Ensemble{80, 1e-300, 0}};
  return day;
}

}  // namespace

TEST_CASE("a day comes back from its bytes as it was, to the last bit") {
  const JarDay day = sample();
  CHECK(jar_day_of(to_bytes(day, kIdentity), kIdentity) == day);
  const JarDay nothing{kDay, kDay + std::chrono::hours(1), {}, {}, {kDay, {}, {}, {}}};
  CHECK(jar_day_of(to_bytes(nothing, 0), 0) == nothing);
}

TEST_CASE("a day of another jar, recipe or profile is not taken") {
  CHECK_FALSE(jar_day_of(to_bytes(sample(), kIdentity), kIdentity + 1));
}

TEST_CASE("a day that lost bytes or has some too many is not taken, wherever it was cut") {
  const std::string whole = to_bytes(sample(), kIdentity);
  for (std::size_t length = 0; length < whole.size(); ++length) {
    CHECK_FALSE(jar_day_of(std::string_view(whole).substr(0, length), kIdentity));
  }
  CHECK_FALSE(jar_day_of(whole + '\0', kIdentity));
  std::string other_format = whole;
  ++other_format[0];
  CHECK_FALSE(jar_day_of(other_format, kIdentity));
}

TEST_CASE("totals of pieces put together are those of the whole") {
  ExposureTotals whole, pieces, second;
  for (const auto& step : {spoken(0, 3, 12.0, 50.0), spoken(3, 9, 25.0, std::nullopt)}) {
    whole.add(step);
  }
  pieces.add(spoken(0, 3, 12.0, 50.0));
  second.add(spoken(3, 9, 25.0, std::nullopt));
  pieces.add(second);
  CHECK(pieces == whole);
  const auto summary = pieces.summary(kDay, kDay + std::chrono::hours(12));
  CHECK(summary.coverage_percent == doctest::Approx(25.0));
  CHECK(summary.highest_temperature == Celsius(25.0));
}

}  // namespace torpor::daemon
