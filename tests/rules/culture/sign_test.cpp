#include "rules/culture/sign.h"

#include <doctest/doctest.h>

using namespace torpor::rules::culture;

TEST_CASE("every told sign is found by its words, the model's own are not") {
  for (const char* name :
       {"bubbling",     "rising",        "sinking",         "syrup on top", "crystals",
        "crust",        "wet surface",   "drops under lid", "warm",         "pressure",
        "sweet smell",  "alcohol smell", "sour smell",      "rotten smell", "white growth",
        "green growth", "black growth",  "pink growth",     "insects",      "all well"}) {
    const auto sign = sign_named(name);
    REQUIRE_MESSAGE(sign, name);
    CHECK(facts(*sign).name == name);
  }
  CHECK_FALSE(sign_named("own warmth"));
  CHECK_FALSE(sign_named("Bubbling"));
}

TEST_CASE("bubbles and gas are normal while a jar settles, smells and growth are not") {
  CHECK(facts(Sign::bubbling).normal_while_settling);
  CHECK(facts(Sign::sinking).weight == Weight::none);
  CHECK_FALSE(facts(Sign::rising).normal_while_settling);
  CHECK_FALSE(facts(Sign::alcohol_smell).normal_while_settling);
  for (const Sign sign :
       {Sign::green_growth, Sign::black_growth, Sign::pink_growth, Sign::rotten_smell}) {
    CHECK(facts(sign).spoils);
  }
  CHECK_FALSE(facts(Sign::white_growth).spoils);
}
