// What is said of sugar at mixing. Outside values: the solubility of sucrose and the saturating
// ratios of tests/reference/culture, the water of cooked rice of food tables. What equal weight,
// 'far too much' and the cups are: common practice, no source.
#include "rules/culture/mixing.h"

#include <doctest/doctest.h>

#include <cmath>

#include "rules/culture/words.h"
#include "tests/rules/culture/jars.h"
#include "tests/rules/culture/reference_table.h"

using namespace torpor;
using namespace torpor::rules::culture;
using torpor::rules::culture::testing::reference_table;

namespace {

JarRecipe weighed(double rice, double raw, double sugar, double topping = 0.0) {
  JarRecipe recipe;
  recipe.rice = Grams(rice);
  recipe.raw = Grams(raw);
  recipe.sugar = Grams(sugar);
  if (topping > 0.0) recipe.topping = Grams(topping);
  return recipe;
}

JarRecipe worded(double rice, std::optional<CookedWord> word, double sugar) {
  JarRecipe recipe;
  recipe.rice = Grams(rice);
  recipe.cooked = word;
  recipe.sugar = Grams(sugar);
  return recipe;
}

// As wet as a table says, by the likely set.
JarRecipe as_wet_as(double moisture, double sugar_to_rice) {
  const double dry_share = Profile().sets[kLikely].rice_dry_share;
  return weighed(1000, 1000.0 * (1.0 - moisture) / dry_share, 1000.0 * sugar_to_rice);
}

MixAdvice advised(const JarRecipe& recipe) {
  const auto advice = mix_advice(recipe, Profile());
  REQUIRE(advice);
  return *advice;
}

std::string words(const JarRecipe& recipe, std::string_view jar = "K1") {
  return mix_words(advised(recipe), jar);
}

bool holds(std::string_view text, std::string_view part) {
  return text.find(part) != std::string_view::npos;
}

}  // namespace

TEST_CASE("a kilogram of rice with 300 g of sugar: 700 g are missing, in cups and to be told") {
  CHECK(words(weighed(1000, 540, 300)) ==
        "Stir about 700 g more sugar (3 1/2 cups) into K1, then tell `add sugar 700 g to K1 "
        "stirred`. With 300 g it will not sleep long. Rice as wet as this (55 % water by its "
        "weights) takes about 1000 g: equal weight, as is common practice.");
  CHECK(mix_brief(advised(weighed(1000, 540, 300))) == "700 g too little sugar");
  // What was told to be stirred in is enough.
  CHECK(advised(weighed(1000, 540, 1000)).mixed == Mixed::enough);
  // Before there is a jar there is nothing to tell.
  CHECK(words(weighed(1000, 540, 300), "")
            .starts_with("Stir about 700 g more sugar (3 1/2 cups) "
                         "into it. With"));
}

TEST_CASE("three kilograms on the same rice are waste and no harm") {
  CHECK(words(weighed(1000, 540, 3000)) ==
        "Leave it so: 3000 g is far more sugar than rice as wet as this (55 % water by its "
        "weights) can dissolve. About 1000 g is enough; the rest does no harm and is only wasted.");
}

TEST_CASE("the sugar that is enough agrees with the table of saturating ratios") {
  // Reference: plain rice whose starch binds water, brown sugar, 20 degC. Of a jar's rice a
  // twentieth of the starch is glucose already: it binds no water and dissolves itself, which
  // nearly cancels.
  std::size_t rows = 0;
  for (const auto& row : reference_table("saturating_ratio")) {
    if (row.number("binding") != 1.0 || row.number("temperature_degC") != 20.0) continue;
    CAPTURE(row.label());
    const double ratio = row.number("sugar_to_rice");
    const MixAdvice advice = advised(as_wet_as(row.number("rice_moisture"), ratio));
    CHECK(advice.need.likely == doctest::Approx(1000.0 * ratio).epsilon(0.02));
    CHECK(advice.mixed == Mixed::enough);
    ++rows;
  }
  CHECK(rows >= 4);
}

TEST_CASE("saturation follows the solubility of sucrose: no less sugar than the water dissolves") {
  // Vavrinecz 1962: 66.7 % at 20 degC, 200 g on 100 g of water. Rice of 60 % holds 600 g of water,
  // of which the starch keeps some (.22 g/g at .85: doi 10.13386/j.issn1002-0306.2014.10.036).
  const double solids = 400.0, bound = 0.2252;
  const double dissolves = sucrose_per_water(kUsualRoom) * (600.0 - bound * solids);
  const MixAdvice advice = advised(as_wet_as(0.60, 1.0));
  CHECK(advice.need.likely == doctest::Approx(dissolves).epsilon(0.15));
}

TEST_CASE("equal weight is said to hold for rice of 55 % water and not for that of food tables") {
  // USDA: long-grain cooked 68.4 % water; 50-58 % is drier, steamed.
  CHECK(words(as_wet_as(0.55, 1.0)) ==
        "That is sugar enough: equal weight, as is common practice, holds for rice as wet as this "
        "(55 % water by its weights).");
  const std::string wet = words(as_wet_as(0.684, 1.0));
  CHECK(wet ==
        "Stir about 350 g more sugar (1 3/4 cups) into K1, then tell `add sugar 350 g to K1 "
        "stirred`. Equal weight is common practice, but rice as wet as this (68 % water by its "
        "weights) takes about 1350 g: with 1000 g it will not sleep long.");
  CHECK(equal_weight_words(advised(as_wet_as(0.55, 1.0))).starts_with("Equal weight, as is"));
  CHECK(
      equal_weight_words(advised(as_wet_as(0.684, 1.0))) ==
      "Rice as wet as this (68 % water by its weights) takes more than the equal weight of common "
      "practice.");
  CHECK(equal_weight_words(advised(as_wet_as(0.45, 1.0)))
            .ends_with("takes less than the equal weight of common practice."));
}

TEST_CASE("equal weights of firm-cooked rice are common practice and not called wrong") {
  const MixAdvice advice = advised(worded(1000, CookedWord::firm, 1000));
  CHECK(advice.mixed == Mixed::lean);
  CHECK_FALSE(advice.comes_first());
  CHECK(mix_brief(advice) == "");
  CHECK(mix_words(advice, "K1") ==
        "Equal weight is common practice and mostly does. Rice as wet as this (about 60 % water, "
        "by the word `firm`) takes about 130 g more (3/4 cup), up to 260 g if it is wetter still: "
        "stir that in to be safe, then tell `add sugar 130 g to K1 stirred`.");
  CHECK(advised(worded(1000, CookedWord::dry, 1000)).mixed == Mixed::enough);
  CHECK(advised(worded(1000, CookedWord::soft, 1000)).mixed == Mixed::too_little);
}

TEST_CASE("rice whose water was not told is taken as firm cooked, and that is said") {
  const MixAdvice advice = advised(worded(1000, std::nullopt, 300));
  CHECK(advice.mixed == Mixed::too_little);
  CHECK(holds(mix_words(advice, "K1"),
              "Such rice (`raw` was not told, so it is taken as firm cooked, about 60 % water)"));
  CHECK(advice.need.cautious > advised(worded(1000, CookedWord::firm, 300)).need.cautious);
  CHECK(advice.need.hopeful < advised(worded(1000, CookedWord::firm, 300)).need.hopeful);
}

TEST_CASE("both sides of each limit") {
  struct Row {
    double sugar;
    Mixed mixed;
  };
  // The likely mix of 1000 g from 540 g stands at .87 with 805 g, needs 995 g, less 5 % is 945 g;
  // the wettest it may be needs 1078 g, half as much again is 1617 g.
  const Row rows[] = {
      {0, Mixed::no_sugar},  {1, Mixed::too_little},      {800, Mixed::too_little},
      {810, Mixed::lean},    {940, Mixed::lean},          {950, Mixed::enough},
      {1610, Mixed::enough}, {1625, Mixed::far_too_much}, {20000, Mixed::far_too_much}};
  for (const Row& row : rows) {
    CAPTURE(row.sugar);
    CHECK(advised(weighed(1000, 540, row.sugar)).mixed == row.mixed);
  }
}

TEST_CASE("equal weight is never waste, however dry the rice") {
  for (const double moisture : {0.25, 0.35, 0.40, 0.45, 0.50}) {
    CAPTURE(moisture);
    CHECK(advised(as_wet_as(moisture, 1.0)).mixed == Mixed::enough);
    CHECK(advised(as_wet_as(moisture, 1.25)).mixed == Mixed::enough);
  }
  CHECK(advised(as_wet_as(0.35, 1.26)).mixed == Mixed::far_too_much);
}

TEST_CASE("more sugar never makes the advice ask for more, and what it asks for is enough") {
  for (const double moisture : {0.48, 0.54, 0.60, 0.66, 0.72}) {
    double before = 1e9;
    for (double ratio = 0.0; ratio <= 2.0; ratio += 0.05) {
      CAPTURE(moisture);
      CAPTURE(ratio);
      JarRecipe recipe = as_wet_as(moisture, ratio);
      const MixAdvice advice = advised(recipe);
      CHECK(advice.to_stir_in() <= before);
      before = advice.to_stir_in();
      recipe.sugar = Grams(recipe.sugar->value() + advice.to_stir_in());
      const Mixed then = advised(recipe).mixed;
      CHECK((then == Mixed::enough || then == Mixed::far_too_much));
    }
  }
}

TEST_CASE("sugar on top counts for the whole and not for the middle") {
  const std::string text = words(weighed(1000, 540, 500, 500));
  CHECK(text ==
        "Stir the sugar on top into K1, with another 20 g (2 tablespoons), then tell `add sugar 20 "
        "g to K1 stirred`. There is enough in all, but from the top it reaches down a finger's "
        "breadth in a month, and what lies below will not sleep long.");
  CHECK(words(weighed(1000, 545, 700, 50)).starts_with("Stir about 240 g more sugar (1 1/4 cups)"));
  CHECK(advised(weighed(1000, 540, 950, 50)).mixed == Mixed::enough);
}

TEST_CASE("without sugar it says how much puts the rice to sleep") {
  CHECK(words(weighed(1000, 540, 0)) ==
        "Stir about 1000 g of sugar (5 cups) into K1 to put it to sleep, then tell `add sugar 1000 "
        "g to K1 stirred`. Without sugar nothing keeps it asleep. Rice as wet as this (55 % water "
        "by its weights) takes about 1000 g: equal weight, as is common practice.");
}

TEST_CASE("nothing is said without the weight of rice and sugar") {
  JarRecipe recipe = weighed(1000, 540, 300);
  recipe.sugar.reset();
  CHECK_FALSE(mix_advice(recipe, Profile()));
  recipe = weighed(1000, 540, 300);
  recipe.rice.reset();
  CHECK_FALSE(mix_advice(recipe, Profile()));
  recipe.cooked_weight = Grams(1000);  // stands for it
  CHECK(mix_advice(recipe, Profile()));
}

TEST_CASE("a jar mixed long ago is said to have got too little, and never to be fed unseen") {
  CHECK(
      mix_words_of_old(advised(weighed(1000, 540, 300)), "K1") ==
      "By what was told K1 got 700 g too little sugar mixed in: rice as wet as this (55 % water by "
      "its weights) takes about 1000 g. `ask K1` says what it needs now.");
  CHECK(mix_words_of_old(advised(worded(1000, CookedWord::firm, 1000)), "K1") == "");
  CHECK(mix_words_of_old(advised(weighed(1000, 540, 3000)), "K1") == "");
}

TEST_CASE("a jar's own model knows better than what was told") {
  const JarRecipe recipe = testing::jar_of(1000, 0.55, 1000, Cover::tissue);
  const MixAdvice told = advised(recipe);
  CHECK(told.mixed == Mixed::enough);
  // Two months of damp air: water came in.
  const JarModel jar = testing::jar_after(recipe, 25, 97, 60);
  const MixAdvice now = as_it_stands(told, jar.figures());
  CHECK(now.mixed == Mixed::too_little);
  CHECK(now.shortfall.likely == jar.figures().sugar_shortfall_g->likely);
  CHECK(as_it_stands(told, Figures()).mixed == Mixed::enough);
}

TEST_CASE("grams of sugar are said in the measures of a kitchen") {
  CHECK(kitchen_words(12.5) == "1 tablespoon");
  CHECK(kitchen_words(50) == "4 tablespoons");
  CHECK(kitchen_words(57) == "1/4 cup");
  CHECK(kitchen_words(130) == "3/4 cup");
  CHECK(kitchen_words(200) == "1 cup");
  CHECK(kitchen_words(700) == "3 1/2 cups");
}
