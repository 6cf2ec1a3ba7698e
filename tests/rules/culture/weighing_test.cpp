#include "rules/culture/weighing.h"

#include <doctest/doctest.h>

using namespace torpor::rules::culture;

TEST_CASE("a scale is trusted to 2 g or 0.1 %, whichever is more") {
  const Parameters set = Profile().sets[kLikely];
  CHECK(scale_deviation(1500, set) == 2.0);
  CHECK(scale_deviation(2000, set) == 2.0);
  CHECK(scale_deviation(5000, set) == 5.0);
}

TEST_CASE("a weighing as predicted changes nothing but the doubt") {
  const WeighingUpdate update = weigh(CoverBelief{}, -20, -20, 3, true);
  CHECK(update.belief.factor == doctest::Approx(1.0));
  CHECK(update.belief.variance < 0.25);
  CHECK(update.water == doctest::Approx(0.0));
  CHECK(update.gas == 0.0);
}

TEST_CASE("faster drying corrects cover and water by the Kalman gain") {
  // K = P d / (d^2 P + R): .25 x 20 / (400 x .25 + 9) = .045872; factor 1 + K x 10.
  const WeighingUpdate update = weigh(CoverBelief{}, -20, -30, 3, true);
  CHECK(update.belief.factor == doctest::Approx(1.45872).epsilon(1e-5));
  CHECK(update.belief.variance == doctest::Approx(0.25 * (1 - 0.91743)).epsilon(1e-3));
  CHECK(update.water == doctest::Approx(-9.1743).epsilon(1e-4));
  CHECK(update.gas == 0.0);
}

TEST_CASE("the cautious jar takes no unpredicted loss for drying, but every gain for water") {
  const WeighingUpdate loss = weigh(CoverBelief{}, -20, -30, 3, false);
  CHECK(loss.water == 0.0);
  CHECK(loss.belief.factor == 1.0);
  CHECK(weigh(CoverBelief{}, -20, -10, 3, false).water > 0.0);
}

TEST_CASE("loss beyond any drying is gas and dries nothing") {
  // A cover passes at most five times its kind: 5 x 2 = 10 g; three deviations of 3 g more is
  // chance.
  CHECK(weigh(CoverBelief{}, -2, -18.9, 3, true).gas == 0.0);
  const WeighingUpdate gas = weigh(CoverBelief{}, -2, -19.1, 3, true);
  CHECK(gas.gas == doctest::Approx(9.1));
  CHECK(gas.water == 0.0);
  CHECK(gas.belief.factor == 1.0);
  // Under damp air nothing dries at all.
  CHECK(weigh(CoverBelief{}, 5, -12, 3, true).gas == doctest::Approx(12));
}

TEST_CASE("weight no cover lets in is water that is there") {
  const WeighingUpdate leak = weigh(CoverBelief{}, 1, 40, 3, true);
  CHECK(leak.water == doctest::Approx(39));
  CHECK(weigh(CoverBelief{}, -5, 40, 3, true).water == doctest::Approx(45));
}

TEST_CASE("a belief stays between a fifth and five times the cover's kind") {
  CoverBelief belief;
  for (int i = 0; i < 20; ++i) {
    belief = weigh(belief, belief.factor * -10, belief.factor * -10 - 30, 3, true).belief;
  }
  CHECK(belief.factor <= kMostFactor);
  for (int i = 0; i < 40; ++i) {
    belief.variance = 0.25;
    belief = weigh(belief, belief.factor * -100, 0, 3, true).belief;
  }
  CHECK(belief.factor >= kLeastFactor);
}

TEST_CASE("a tight lid with no exchange predicts nothing, and every real loss is gas") {
  CHECK(weigh(CoverBelief{}, 0, -20, 2.8, true).gas == doctest::Approx(20));
  CHECK(weigh(CoverBelief{}, 0, -5, 2.8, true).gas == 0.0);
  CHECK(weigh(CoverBelief{}, 0, -5, 2.8, true).water == 0.0);
}
