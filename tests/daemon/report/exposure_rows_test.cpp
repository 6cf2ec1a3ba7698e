#include "daemon/report/exposure_rows.h"

#include <doctest/doctest.h>

#include <algorithm>

#include "rules/air/psychrometrics.h"

namespace torpor::daemon {
namespace {

using std::chrono::hours;
using std::chrono::minutes;

constexpr Instant kStart = Instant(hours(24 * 20000));

ExposureStep step(Duration from, Duration to, std::optional<double> temperature,
                  std::optional<double> humidity, std::string place = "shelf") {
  ExposureStep step;
  step.from = kStart + from;
  step.to = kStart + to;
  step.place = std::move(place);
  if (temperature) {
    step.temperature = Celsius(*temperature);
    step.sensor = "s1";
  }
  if (humidity) {
    step.humidity = Percent(*humidity);
    step.humid_temperature = step.temperature;
    step.humidity_sensor = "s1";
  }
  return step;
}

}  // namespace

TEST_CASE("as many steps as are shown stay as they are") {
  StepRows rows(kStart, kStart + minutes(kShownRows));
  for (std::size_t i = 0; i < kShownRows; ++i) {
    rows.add(step(minutes(i), minutes(i + 1), 20.0 + (i % 7 == 0 ? 1.0 : 0.0), 60.0));
  }
  const auto shown = rows.take();
  REQUIRE(shown.size() == kShownRows);
  CHECK(shown[7].temperature == Celsius(21.0));
  CHECK(shown[8].from == kStart + minutes(8));
  CHECK(shown[8].to == kStart + minutes(9));
  CHECK(shown[8].coverage_percent == 100.0);
  CHECK(shown[8].dew_point ==
        rules::air::dew_point(rules::air::vapour_pressure(Celsius(20.0), Percent(60.0))));
}

TEST_CASE("more steps are thinned to what is shown and keep the extremes") {
  constexpr std::int64_t kSteps = 100'000;
  StepRows rows(kStart, kStart + minutes(kSteps));
  for (std::int64_t i = 0; i < kSteps; ++i) {
    const double temperature = i == 43'210 ? 39.5 : i == 77'777 ? -3.0 : 20.0 + double(i % 5);
    const double humidity = i == 12'345 ? 99.0 : i == 54'321 ? 11.0 : 60.0 + double(i % 3);
    rows.add(step(minutes(i), minutes(i + 1), temperature, humidity));
  }
  const auto shown = rows.take();
  CHECK(shown.size() <= kShownRows);
  CHECK(shown.size() > kShownRows / 2);
  CHECK(shown.front().from == kStart);
  CHECK(shown.back().to == kStart + minutes(kSteps));
  const auto has = [&](auto matches) { return std::any_of(shown.begin(), shown.end(), matches); };
  CHECK(has([](const ExposureRow& row) { return row.temperature == Celsius(39.5); }));
  CHECK(has([](const ExposureRow& row) { return row.temperature == Celsius(-3.0); }));
  CHECK(has([](const ExposureRow& row) { return row.humidity == Percent(99.0); }));
  CHECK(has([](const ExposureRow& row) { return row.humidity == Percent(11.0); }));
  CHECK(std::is_sorted(shown.begin(), shown.end(),
                       [](const auto& a, const auto& b) { return a.from < b.from; }));
}

TEST_CASE("a row without humidity is not covered and has no dew point") {
  StepRows rows(kStart, kStart + hours(2));
  rows.add(step(hours(0), hours(1), 20.0, std::nullopt));
  rows.add(step(hours(1), hours(2), 20.0, 0.0));
  const auto shown = rows.take();
  REQUIRE(shown.size() == 2);
  CHECK(shown[0].coverage_percent == 0.0);
  CHECK_FALSE(shown[0].dew_point.has_value());
  CHECK(shown[1].coverage_percent == 100.0);
  CHECK_FALSE(shown[1].dew_point.has_value());  // dry air has none
}

TEST_CASE("the dew point goes with the temperature of the humidity's own sensor") {
  ExposureStep near = step(hours(0), hours(1), 20.0, 60.0);
  near.humid_temperature = Celsius(15.0);
  near.humidity_sensor = "above";
  StepRows rows(kStart, kStart + hours(1));
  IntervalRows intervals(kStart, hours(1));
  rows.add(near);
  intervals.add(near);
  const Celsius dew_point =
      rules::air::dew_point(rules::air::vapour_pressure(Celsius(15.0), Percent(60.0)));
  const auto row = rows.take().at(0), interval = intervals.take().at(0);
  CHECK(row.temperature == Celsius(20.0));
  CHECK(row.dew_point == dew_point);
  CHECK(interval.temperature == Celsius(20.0));
  CHECK(interval.dew_point->value() == doctest::Approx(dew_point.value()));
}

TEST_CASE("interval rows are means weighted by time over the covered part") {
  IntervalRows rows(kStart, hours(1));
  rows.add(step(minutes(0), minutes(15), 10.0, 40.0));
  rows.add(step(minutes(15), minutes(30), std::nullopt, std::nullopt));
  rows.add(step(minutes(30), minutes(75), 20.0, 80.0));
  rows.add(step(minutes(75), minutes(120), std::nullopt, std::nullopt));
  const auto shown = rows.take();
  REQUIRE(shown.size() == 2);
  CHECK(shown[0].from == kStart);
  CHECK(shown[0].to == kStart + hours(1));
  // 15 min of 10 °C and 30 min of 20 °C.
  CHECK(shown[0].temperature->value() == doctest::Approx(50.0 / 3.0));
  CHECK(shown[0].humidity->value() == doctest::Approx(200.0 / 3.0));
  CHECK(shown[0].coverage_percent == doctest::Approx(75.0));
  const double pressure =
      (rules::air::vapour_pressure(Celsius(10.0), Percent(40.0)).value() +
       2.0 * rules::air::vapour_pressure(Celsius(20.0), Percent(80.0)).value()) /
      3.0;
  CHECK(shown[0].dew_point->value() ==
        doctest::Approx(rules::air::dew_point(Pascal(pressure)).value()));
  CHECK(shown[1].temperature == Celsius(20.0));
  CHECK(shown[1].coverage_percent == doctest::Approx(25.0));
}

TEST_CASE("an interval row is broken where the jar was moved") {
  IntervalRows rows(kStart, hours(1));
  rows.add(step(minutes(0), minutes(40), 10.0, 40.0, "shelf-1"));
  rows.add(step(minutes(40), minutes(60), 20.0, 40.0, "shelf-2"));
  const auto shown = rows.take();
  REQUIRE(shown.size() == 2);
  CHECK(shown[0].place == "shelf-1");
  CHECK(shown[0].to == kStart + minutes(40));
  CHECK(shown[0].temperature == Celsius(10.0));
  CHECK(shown[1].place == "shelf-2");
  CHECK(shown[1].from == kStart + minutes(40));
}

TEST_CASE("an uncovered interval is a row of its own without figures") {
  IntervalRows rows(kStart, hours(1));
  rows.add(step(hours(0), hours(3), std::nullopt, std::nullopt));
  const auto shown = rows.take();
  REQUIRE(shown.size() == 3);
  CHECK(shown[1].coverage_percent == 0.0);
  CHECK_FALSE(shown[1].temperature.has_value());
  CHECK(shown[1].sensor.empty());
}

TEST_CASE("ranges are cut at the end and touched by steps that reach into them") {
  RangeRows weeks(kStart, kStart + hours(24 * 10), hours(24 * 7));
  weeks.add(step(hours(0), hours(24 * 8), 10.0, 50.0));
  weeks.add(step(hours(24 * 8), hours(24 * 9), 30.0, std::nullopt));
  weeks.add(step(hours(24 * 9), hours(24 * 10), std::nullopt, std::nullopt));
  const auto ranges = weeks.take();
  REQUIRE(ranges.size() == 2);
  CHECK(ranges[0].highest_temperature == Celsius(10.0));
  CHECK(ranges[0].coverage_percent == doctest::Approx(100.0));
  CHECK(ranges[1].to == kStart + hours(24 * 10));
  CHECK(ranges[1].lowest_temperature == Celsius(10.0));
  CHECK(ranges[1].highest_temperature == Celsius(30.0));
  CHECK(ranges[1].highest_humidity == Percent(50.0));
  CHECK(ranges[1].coverage_percent == doctest::Approx(100.0 / 3.0));
}

TEST_CASE("ranges begin at midnight, the first one is cut, and halves of days fill them") {
  const Instant midnight = std::chrono::floor<std::chrono::days>(kStart);
  RangeRows days(midnight + hours(15), midnight + hours(60), hours(24));
  HalfDay half{midnight + hours(15), midnight + hours(24), hours(6), {}};
  half.steps = {{midnight + hours(15), midnight + hours(24), "", "", Celsius(11.0), Percent(40.0),
                 "", Celsius(11.0)}};
  days.add(half);
  HalfDay second{midnight + hours(36), midnight + hours(48), hours(12), {}};
  second.steps = half.steps;
  second.steps[0].temperature = Celsius(19.0);
  days.add(second);
  const auto ranges = days.take();
  REQUIRE(ranges.size() == 3);
  CHECK(ranges[0].from == midnight + hours(15));
  CHECK(ranges[0].to == midnight + hours(24));
  CHECK(ranges[0].coverage_percent == doctest::Approx(100.0 * 6 / 9));
  CHECK(ranges[0].highest_temperature == Celsius(11.0));
  CHECK(ranges[1].lowest_temperature == Celsius(19.0));
  CHECK(ranges[1].coverage_percent == doctest::Approx(50.0));
  CHECK(ranges[2].to == midnight + hours(60));
  CHECK_FALSE(ranges[2].highest_temperature);
}

TEST_CASE("an empty stretch of time has no rows and no ranges") {
  CHECK(StepRows(kStart, kStart).take().empty());
  CHECK(IntervalRows(kStart, hours(1)).take().empty());
  RangeRows none(kStart, kStart, hours(1));
  none.add(step(hours(0), hours(1), 20.0, 50.0));
  CHECK(none.take().empty());
}

}  // namespace torpor::daemon
