#include "sensors/agreement.h"

#include <doctest/doctest.h>

#include "tests/sensors/series.h"

namespace torpor::testing {
namespace {

constexpr int kHour = 60;  // min

// `hours` more hours in steady air, of sensors that each differ from it by so much, by ten minutes.
// The reading that begins the next hour closes the last.
void hang(Agreement& agreement, int from_hour, int hours, const std::vector<double>& apart) {
  for (int m = from_hour * kHour; m <= (from_hour + hours) * kHour; m += 10) {
    for (std::size_t i = 0; i < apart.size(); ++i) agreement.add(i, at_minute(m), 70.0 + apart[i]);
  }
}

TEST_CASE("the odd one of three is not believed after three hours, the others are") {
  Agreement agreement(Quantity::humidity, 3);
  hang(agreement, 0, 2, {0, 1, 8.1});
  CHECK(agreement.of(2).doubts == kNoDoubt);
  hang(agreement, 2, 1, {0, 1, 8.1});
  REQUIRE(agreement.of(2).doubts == (kDisagrees | kOddOneOut));
  CHECK_FALSE(agreement.of(2).trusted());
  CHECK(agreement.of(2).reasons.front() ==
        "+7.1 % from the sensors beside it, which agree: check it in table salt or ice, or hang it "
        "where they hang");
  CHECK(agreement.of(0).doubts == kNoDoubt);
  CHECK(agreement.of(1).doubts == kNoDoubt);
}

TEST_CASE("within the tolerance of cheap sensors nobody is doubted") {
  Agreement agreement(Quantity::humidity, 3);
  hang(agreement, 0, 24, {0, 1, 8});
  for (std::size_t i = 0; i < 3; ++i) CHECK(agreement.of(i).doubts == kNoDoubt);
}

TEST_CASE("of two that disagree nobody can say which: both are told, both are believed") {
  Agreement agreement(Quantity::humidity, 2);
  hang(agreement, 0, 4, {0, 8});
  for (std::size_t i = 0; i < 2; ++i) {
    CHECK(agreement.of(i).doubts == kDisagrees);
    CHECK(agreement.of(i).trusted());
  }
  CHECK(agreement.difference(1) == doctest::Approx(8.0));
  CHECK(agreement.difference(0) == doctest::Approx(-8.0));
}

TEST_CASE("one that agrees again is believed after six hours") {
  Agreement agreement(Quantity::humidity, 3);
  hang(agreement, 0, 5, {0, 1, 12});
  REQUIRE_FALSE(agreement.of(2).trusted());
  hang(agreement, 6, 5, {0, 1, 2});
  CHECK_FALSE(agreement.of(2).trusted());
  hang(agreement, 11, 1, {0, 1, 2});
  CHECK(agreement.of(2).trusted());
}

TEST_CASE("a sensor that follows the air an hour late is no liar") {
  Agreement agreement(Quantity::humidity, 3);
  Agreement prompt = agreement;
  for (int m = kHour; m < 49 * kHour; m += 10) {
    for (std::size_t i = 0; i < 3; ++i) {
      // Air that changes by 10 % at every third hour.
      const auto air = [](int minute) { return minute / (3 * kHour) % 2 == 0 ? 60.0 : 70.0; };
      agreement.add(i, at_minute(m), air(i == 0 ? m - kHour : m));
      prompt.add(i, at_minute(m), i == 0 ? air(m) + 10.0 : air(m));
    }
    CHECK(agreement.of(0).doubts == kNoDoubt);
  }
  CHECK_FALSE(prompt.of(0).trusted());  // the same difference without the lag
}

TEST_CASE("one sensor alone has nothing to be compared with") {
  Agreement agreement(Quantity::temperature, 1);
  hang(agreement, 0, 10, {40});
  CHECK(agreement.of(0).doubts == kNoDoubt);
  CHECK_FALSE(agreement.difference(0));
}

TEST_CASE("drift against the others shows after weeks, and a standing difference is none") {
  Agreement drifting(Quantity::humidity, 3), standing(Quantity::humidity, 3);
  for (int hour = 0; hour < 24 * 29; ++hour) {
    hang(drifting, hour, 1, {0, 0, 1.5 * hour / (24.0 * 7.0)});
    hang(standing, hour, 1, {0, 0, 5.0});
    if (hour == 24 * 13) CHECK(drifting.of(2).doubts == kNoDoubt);
  }
  CHECK(drifting.of(2).doubts == kDrifts);
  CHECK(drifting.of(2).trusted());
  CHECK(drifting.of(0).doubts == kNoDoubt);
  CHECK(standing.of(2).doubts == kNoDoubt);
}

}  // namespace
}  // namespace torpor::testing
