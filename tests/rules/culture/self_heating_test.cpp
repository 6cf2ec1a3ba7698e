#include "rules/culture/self_heating.h"

#include <doctest/doctest.h>

#include "tests/rules/culture/jars.h"

using namespace torpor::rules::culture;
using torpor::rules::culture::testing::kSet;

// The sum is Page's (Biometrika 41, 1954, 100); allowance .5 K and limit 4 K h are our own
// defaults, without a source.
TEST_CASE("a kelvin of own warmth shows after eight hours, half a kelvin never") {
  SelfHeating warm;
  for (int hour = 0; hour < 8; ++hour) warm.add(1.0, 1.0, kSet);
  CHECK_FALSE(warm.heating(kSet));  // 4.0 K h is at the limit, not past it
  warm.add(1.0, 0.1, kSet);
  CHECK(warm.heating(kSet));
  SelfHeating offset;
  for (int hour = 0; hour < 10000; ++hour) offset.add(0.5, 1.0, kSet);
  CHECK_FALSE(offset.heating(kSet));
}

TEST_CASE("a swing about nothing never sums up") {
  SelfHeating swinging;
  for (int hour = 0; hour < 10000; ++hour) swinging.add(hour % 2 == 0 ? 1.2 : -1.2, 1.0, kSet);
  CHECK_FALSE(swinging.heating(kSet));
}

TEST_CASE("the sum is the same however a stretch is split, and is bounded") {
  SelfHeating whole, split;
  whole.add(2.0, 6.0, kSet);
  for (int i = 0; i < 12; ++i) split.add(2.0, 0.5, kSet);
  CHECK(whole.sum() == doctest::Approx(split.sum()).epsilon(1e-12));
  for (int i = 0; i < 1000; ++i) whole.add(10, 1, kSet);
  CHECK(whole.sum() == 16.0);
  whole.reset();
  CHECK_FALSE(whole.known());
}
