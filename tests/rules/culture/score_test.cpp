#include "rules/culture/score.h"

#include <doctest/doctest.h>

using namespace torpor;
using namespace torpor::rules::culture;

namespace {
Instant day(int n) { return instant_of(std::int64_t{n} * 86400000); }
const Prediction kTenToTwenty{day(0), day(10), day(20), true};
}  // namespace

TEST_CASE("a waking inside its predicted range counts, both ends included") {
  for (const int seen : {10, 15, 20}) {
    Score score;
    score_waking(score, kTenToTwenty, day(seen));
    CHECK(score == Score{1, 1, 0, 0, 0});
  }
}

TEST_CASE("wakings outside the range are early or late, and unforeseen without one") {
  Score score;
  score_waking(score, kTenToTwenty, day(9));
  CHECK(score == Score{1, 0, 1, 0, 0});
  score_waking(score, kTenToTwenty, day(21));
  CHECK(score == Score{2, 0, 1, 1, 0});
  score_waking(score, std::nullopt, day(5));
  CHECK(score == Score{2, 0, 1, 1, 1});
}

TEST_CASE("a range without an end in sight holds every later waking") {
  Score score;
  score_waking(score, Prediction{day(0), day(10), day(20), false}, day(400));
  CHECK(score.inside == 1);
}

TEST_CASE("found well decides a prediction only once its range is over") {
  Score score;
  CHECK_FALSE(score_all_well(score, kTenToTwenty, day(20)));
  CHECK_FALSE(score_all_well(score, std::nullopt, day(50)));
  CHECK(score == Score{});
  CHECK(score_all_well(score, kTenToTwenty, day(21)));
  CHECK(score == Score{1, 0, 0, 1, 0});
}
