#include "rules/culture/sign.h"

#include <doctest/doctest.h>

#include <string>

using namespace torpor::rules::culture;

TEST_CASE("every told sign is found by its words, the model's own are not") {
  for (const char* name :
       {"bubbling",     "rising",        "sinking",         "syrup on top", "crystals",
        "crust",        "wet surface",   "drops under lid", "warm",         "pressure",
        "sweet smell",  "alcohol smell", "sour smell",      "rotten smell", "white growth",
        "green growth", "black growth",  "pink growth",     "insects",      "all well",
        "leaking",      "cracked",       "frozen",          "larvae"}) {
    const auto sign = sign_named(name);
    REQUIRE_MESSAGE(sign, name);
    CHECK(facts(*sign).name == name);
  }
  CHECK_FALSE(sign_named("own warmth"));
  CHECK_FALSE(sign_named("weight lost that drying cannot explain"));
  std::size_t told = 0;
  for (std::size_t i = 0; i < kSigns; ++i) told += facts(static_cast<Sign>(i)).by_keeper ? 1 : 0;
  CHECK(told == kToldSigns);
  CHECK_FALSE(sign_named("Bubbling"));
}

TEST_CASE("bubbles and gas are normal while a jar settles, smells and growth are not") {
  CHECK(facts(Sign::bubbling).normal_while_settling);
  CHECK(facts(Sign::sinking).weight == Weight::none);
  CHECK_FALSE(facts(Sign::rising).normal_while_settling);
  CHECK_FALSE(facts(Sign::alcohol_smell).normal_while_settling);
}

TEST_CASE("five signs spoil a jar for good, and six are of gas") {
  std::string spoil, gas;
  for (std::size_t i = 0; i < kSigns; ++i) {
    const SignFacts& about = facts(static_cast<Sign>(i));
    if (about.spoils) spoil += std::string(about.name) + "; ";
    if (about.gas) gas += std::string(about.name) + "; ";
  }
  CHECK(spoil == "rotten smell; green growth; black growth; pink growth; larvae; ");
  CHECK(gas ==
        "bubbling; rising; pressure; weight lost that drying cannot explain; own warmth; "
        "leaking; ");
}

TEST_CASE("what says nothing of waking: a crack, frost, larvae; a leak says a little") {
  for (const Sign sign : {Sign::cracked, Sign::frozen, Sign::larvae}) {
    CHECK(facts(sign).weight == Weight::none);
  }
  CHECK(facts(Sign::leaking).weight == Weight::weak);
}
