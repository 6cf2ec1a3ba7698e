#include "sensors/calibration.h"

#include <doctest/doctest.h>

#include "tests/sensors/series.h"

namespace torpor::testing {
namespace {

constexpr double kDays = 1440.0;  // min

Check humidity_check(double day, double expected, double shown) {
  return {at_minute(day * kDays), Quantity::humidity, expected, shown, 0.3};
}

TEST_CASE("a sensor that was never checked is not corrected and says how little it is worth") {
  const Correction none = Calibration().at(Quantity::humidity, kSeriesStart);
  CHECK(none.apply(70.0) == 70.0);
  CHECK_FALSE(none.checked_at);
  CHECK(none.points == 0);
  CHECK(none.uncertainty == doctest::Approx(3.606).epsilon(0.001));  // hypot(2, 1.5 * 2)
}

TEST_CASE("the error to expect grows in steps of a month since the check") {
  CHECK(expected_error(Calibration(), Quantity::humidity, kSeriesStart) ==
        doctest::Approx(3.606).epsilon(0.001));
  Calibration calibration;
  calibration.add(humidity_check(10, 75.3, 78.3));
  const auto after = [&](double days) {
    return expected_error(calibration, Quantity::humidity, at_minute((10 + days) * kDays));
  };
  // hypot(0.3, 1.0): of the comparison, and of a slope that one point says nothing of.
  CHECK(after(0) == doctest::Approx(1.044).epsilon(0.001));
  CHECK(after(29.9) == after(0));
  CHECK(after(30) > after(0));
  CHECK(after(59.9) == after(30));
  CHECK(after(365 * 3) == doctest::Approx(std::hypot(1.044, 1.5 * 1080.0 / 365.25)).epsilon(0.001));
  const Calibrations all{{"s1", calibration}};
  CHECK(calibration_of(all, "s1") == calibration);
  CHECK(calibration_of(all, "s2") == Calibration());
}

TEST_CASE("a check holds from its date on and never before") {
  Calibration calibration;
  calibration.add(humidity_check(10, 75.3, 78.3));
  CHECK(calibration.at(Quantity::humidity, at_minute(10 * kDays) - Duration(1)).apply(70) == 70.0);
  const Correction from = calibration.at(Quantity::humidity, at_minute(10 * kDays));
  CHECK(from.apply(78.3) == doctest::Approx(75.3));
  CHECK(from.apply(70.0) == doctest::Approx(67.0));
  CHECK(from.points == 1);
  CHECK(calibration.at(Quantity::temperature, at_minute(20 * kDays)).points == 0);
}

TEST_CASE("two salts far apart within two weeks correct the slope, else the newest alone counts") {
  const auto points = [](double days_between, double other) {
    Calibration calibration;
    calibration.add(humidity_check(0, other, other + 1.0));
    calibration.add(humidity_check(days_between, 75.3, 79.3));
    return calibration.at(Quantity::humidity, at_minute(days_between * kDays));
  };
  const Correction two = points(14, 33.0);
  CHECK(two.points == 2);
  CHECK(two.apply(34.0) == doctest::Approx(33.0));
  CHECK(two.apply(79.3) == doctest::Approx(75.3));
  CHECK(points(14.001, 33.0).points == 1);
  CHECK(points(1, 55.3).points == 2);
  CHECK(points(1, 55.4).points == 1);
}

TEST_CASE("a slope that no ageing makes is not used") {
  Calibration calibration;
  calibration.add(humidity_check(0, 33.0, 60.0));
  calibration.add(humidity_check(1, 75.3, 75.0));
  const Correction correction = calibration.at(Quantity::humidity, at_minute(2 * kDays));
  CHECK(correction.points == 1);
  CHECK(correction.gain == 1.0);
}

TEST_CASE("what a correction is worth fades with its age") {
  Calibration calibration;
  calibration.add(humidity_check(0, 75.3, 78.3));
  const auto after = [&](double days) {
    return calibration.at(Quantity::humidity, at_minute(days * kDays)).uncertainty;
  };
  CHECK(after(0) == doctest::Approx(1.044).epsilon(0.001));       // hypot(0.3, 1.0)
  CHECK(after(365.25) == doctest::Approx(1.828).epsilon(0.001));  // hypot(0.3, 1.0, 1.5)
  CHECK(after(3 * 365.25) > after(365.25));
}

TEST_CASE("checks told in any order, late or withdrawn give what they give in order") {
  Calibration in_order, out_of_order;
  const Check first = humidity_check(0, 33.0, 34.0), second = humidity_check(5, 75.3, 79.3);
  in_order.add(first);
  in_order.add(second);
  out_of_order.add(second);
  out_of_order.add(humidity_check(9, 50.0, 51.0));
  out_of_order.add(first);
  CHECK(out_of_order.withdraw(Quantity::humidity, at_minute(9 * kDays)));
  CHECK_FALSE(out_of_order.withdraw(Quantity::humidity, at_minute(9 * kDays)));
  CHECK(in_order.checks() == out_of_order.checks());
  Check again = second;
  again.shown = 80.0;
  in_order.add(again);
  CHECK(in_order.checks().size() == 2);
  CHECK(in_order.at(Quantity::humidity, at_minute(6 * kDays)).apply(80.0) == doctest::Approx(75.3));
}

TEST_CASE(
    "a reading is corrected by its own sensor's check of its time, to no impossible humidity") {
  Calibration reads_low;
  reads_low.add(humidity_check(10, 75.3, 71.3));
  const Calibrations all{{"s1", reads_low}};
  const auto read = [&](std::string sensor, Quantity quantity, Unit unit, double raw, double day) {
    const Instant at = at_minute(day * kDays);
    return corrected(all, Reading{std::move(sensor), quantity, raw, unit, at, at});
  };
  CHECK(read("s1", Quantity::humidity, Unit::percent, 60.0, 11) == doctest::Approx(64.0));
  CHECK(read("s1", Quantity::humidity, Unit::percent, 98.0, 11) == 100.0);
  CHECK(read("s1", Quantity::humidity, Unit::percent, 98.0, 9) == 98.0);      // before the check
  CHECK(read("s2", Quantity::humidity, Unit::percent, 98.0, 11) == 98.0);     // another sensor
  CHECK(read("s1", Quantity::temperature, Unit::celsius, 20.0, 11) == 20.0);  // another quantity

  Calibration reads_high;
  reads_high.add(humidity_check(0, 33.0, 37.0));
  const Instant later = at_minute(kDays);
  CHECK(corrected(reads_high, {"s1", Quantity::humidity, 2.0, Unit::percent, later, later}) == 0.0);
}

}  // namespace
}  // namespace torpor::testing
