#include "rules/watch/comparisons.h"

#include <doctest/doctest.h>

#include <limits>

#include "tests/rules/watch/story.h"

namespace torpor::rules {
namespace {

constexpr double kUnknown = std::numeric_limits<double>::quiet_NaN();

Comparisons comparisons_of(const char* when, const char* until, const char* concerns = "place") {
  Comparisons comparisons;
  comparisons.add(compile(a_rule("r", concerns, when, until)));
  return comparisons;
}

Signal value(double canonical, Instant until = kNever) { return {canonical, false, {}, until}; }

}  // namespace

TEST_CASE("a rule of comparisons, lasting and counted times can be left alone") {
  const auto suffice = [](const char* when, const char* concerns = "place") {
    return Comparisons::suffice_for(compile(a_rule("r", concerns, when)));
  };
  CHECK(suffice("temperature above 26 °C lasting 6 min or not humidity below 80 %"));
  CHECK(suffice("temperature minus dew point below 2 K"));
  CHECK(suffice("time with temperature above 26 °C within 7 d above 72 h"));
  CHECK(suffice("time since reading above 3 h", "sensor"));
  // Moves with every reading.
  CHECK_FALSE(suffice("rise of temperature over 1 h above 5 K"));
  CHECK_FALSE(suffice("humidity above 80 % or average of humidity over 1 d above 80 %"));
  // Another place speaks at other times.
  CHECK_FALSE(suffice("temperature at outside above 27 °C"));
  CHECK_FALSE(suffice("humidity minus humidity at outside at least 10 %"));
}

TEST_CASE("values on one side of every limit come out the same") {
  Comparisons comparisons = comparisons_of("temperature above 26 °C", "temperature below 25 °C");
  const auto same = [&](double degrees) {
    return comparisons.look(minute(0), [&](RuleQuantity) { return value(degrees); }).same;
  };
  CHECK_FALSE(same(20.0));  // known for the first time
  CHECK(same(24.9));
  CHECK_FALSE(same(25.0));  // not below any more
  CHECK(same(26.0));        // not above yet
  CHECK_FALSE(same(26.1));
  CHECK(same(40.0));
  CHECK_FALSE(same(kUnknown));
  CHECK(same(kUnknown));
  CHECK_FALSE(same(40.0));
}

TEST_CASE("each quantity is read once, and so is what is counted within a window") {
  Comparisons comparisons =
      comparisons_of("time with humidity above 85 % within 7 d above 60 h and humidity above 80 %",
                     "humidity below 80 % lasting 2 d");
  int asked = 0;
  const auto same = [&](double percent) {
    return comparisons
        .look(minute(0),
              [&](RuleQuantity quantity) {
                ++asked;
                CHECK(quantity == RuleQuantity::humidity);
                return value(percent);
              })
        .same;
  };
  CHECK_FALSE(same(83.0));
  CHECK(same(85.0));
  CHECK(asked == 2);
  CHECK_FALSE(same(85.1));  // counted from here
}

TEST_CASE("a difference is compared as one") {
  Comparisons comparisons = comparisons_of("temperature minus dew point below 2 K",
                                           "temperature minus dew point above 3 K");
  const auto same = [&](double temperature, double dew_point) {
    return comparisons
        .look(minute(0),
              [&](RuleQuantity quantity) {
                return value(quantity == RuleQuantity::temperature ? temperature : dew_point);
              })
        .same;
  };
  CHECK_FALSE(same(20.0, 10.0));
  CHECK(same(30.0, 20.0));
  CHECK_FALSE(same(30.0, 28.5));
}

TEST_CASE("they hold until a value runs out or a time passes a limit") {
  Comparisons air = comparisons_of("temperature above 26 °C", "temperature below 25 °C");
  CHECK(air.look(minute(0), [](RuleQuantity) { return value(20.0, minute(30)); }).until ==
        minute(30));
  Comparisons silence =
      comparisons_of("time since reading above 3 h", "time since reading below 2 h", "sensor");
  const auto until = [&](double at, double since) {
    const auto read = [&](RuleQuantity) -> Signal { return {0.0, true, minute(since), kNever}; };
    return silence.look(minute(at), read).until;
  };
  CHECK(until(0, 0) == minute(120));
  CHECK(until(119, 0) == minute(120));
  CHECK(until(120, 0) == minute(180) + Duration(1));
  CHECK(until(181, 0) == kNever);
  CHECK(until(190, 190) == minute(310));
}

}  // namespace torpor::rules
