#include "rules/culture/words.h"

#include <doctest/doctest.h>

using namespace torpor::rules::culture;

TEST_CASE("hours are said round") {
  CHECK(round_words(0.2) == "about 1 hour");
  CHECK(round_words(5.4) == "about 5 hours");
  CHECK(round_words(35.9) == "about 36 hours");
  CHECK(round_words(36) == "about 2 days");
  CHECK(round_words(20 * 24) == "about 20 days");
  CHECK(round_words(21 * 24) == "about 3 weeks");
  CHECK(round_words(49 * 24) == "about 7 weeks");
  CHECK(round_words(120 * 24) == "about 4 months");
  CHECK(round_words(3 * 365.25 * 24) == "about 3 years");
}

TEST_CASE("a time to wake is said with its range, and what is out of sight as that") {
  const WakeTime day{WakeTime::Kind::within, 24}, week{WakeTime::Kind::within, 49 * 24},
      beyond{WakeTime::Kind::beyond, kSightHours}, due{WakeTime::Kind::due, 0}, unknown;
  CHECK(to_words({day, week, beyond}) == "in about 7 weeks (range 24 hours to not in sight)");
  CHECK(to_words({due, due, week}) == "due now (range now to 7 weeks)");
  CHECK(to_words({beyond, beyond, beyond}) == "not in sight within 180 days");
  CHECK(to_words({week, beyond, beyond}) ==
        "not in sight within 180 days (at the earliest: 7 weeks)");
  CHECK(to_words({unknown, unknown, unknown}) == "not known");
}

TEST_CASE("grams and activities are said as a keeper reads them") {
  CHECK(gram_words(0.4) == "less than 1 g");
  CHECK(gram_words(13.2) == "about 13 g");
  CHECK(gram_words(487) == "about 490 g");
  CHECK(gram_words(1320) == "about 1.3 kg");
  CHECK(activity_words({0.862, 0.843, 0.829}) == "about 0.84 (0.83 to 0.86)");
}
