#include "rules/culture/recipe.h"

#include <doctest/doctest.h>

#include <cmath>
#include <limits>

#include "tests/rules/culture/jars.h"

using namespace torpor;
using namespace torpor::rules::culture;
using torpor::rules::culture::testing::jar_of;
using torpor::rules::culture::testing::kProfile;

namespace {
JarRecipe whole() { return jar_of(1200, 0.60, 1250, Cover::kraft, 60); }
std::string refusal(const JarRecipe& recipe) {
  const auto checked = check_recipe(recipe);
  return checked ? "" : checked.error();
}
}  // namespace

TEST_CASE("a jar told whole is accepted, and one told hardly at all too") {
  CHECK(check_recipe(whole()));
  CHECK(check_recipe(JarRecipe{}));
  JarRecipe no_sugar = whole();
  no_sugar.sugar = Grams(0);
  CHECK(check_recipe(no_sugar));  // no sugar is a fact, not an error: it will wake
}

TEST_CASE("what cannot be is refused with what was found and what to do") {
  JarRecipe recipe = whole();
  recipe.rice = Grams(0);
  CHECK(refusal(recipe) ==
        "rice is 0 g; a jar of culture holds rice: leave it out if it is not known");
  recipe = whole();
  recipe.sugar = Grams(-5);
  CHECK(refusal(recipe) == "sugar is -5 g; a weight is 0 g or more");
  recipe = whole();
  recipe.topping = Grams(std::numeric_limits<double>::quiet_NaN());
  CHECK(refusal(recipe) == "topping is nan g; a weight is 0 g or more");
  recipe = whole();
  recipe.empty_vessel = Grams(100000.1);
  CHECK(refusal(recipe) ==
        "the empty vessel is 100000.1 g; more than 100 kg in one jar is taken as a slip");
  recipe = whole();
  recipe.raw = Grams(1400);  // 1218 g of dry matter
  CHECK(refusal(recipe) ==
        "1400 g of raw rice cannot become 1200 g of cooked rice: cooking adds water; check both "
        "weights");
  recipe = whole();
  recipe.raw = Grams(149);
  CHECK(refusal(recipe) ==
        "149 g of raw rice cannot become 1200 g of colonised rice (2 to 3 times is usual); check "
        "both weights");
  recipe = whole();
  recipe.volume_ml = 49;
  CHECK(refusal(recipe) == "the vessel is 49 ml; expected 50 to 200000 ml");
  recipe = whole();
  recipe.mouth_mm = 1001;
  CHECK(refusal(recipe) == "the mouth is 1001 mm; expected 5 to 1000 mm");
}

TEST_CASE("the rice's water is weighed where it can be") {
  JarRecipe recipe;
  recipe.rice = Grams(1200);
  recipe.raw = Grams(500);
  // 500 g raw that became 1200 g: .65 (.64-.67); each set keeps 60 % of the range of .80-.87.
  CHECK(*rice_moisture(recipe, kProfile.sets[kLikely]) == doctest::Approx(0.654).epsilon(1e-3));
  CHECK(*rice_moisture(recipe, kProfile.sets[kCautious]) > 0.654);
  CHECK(*rice_moisture(recipe, kProfile.sets[kHopeful]) < 0.654);
  recipe.rice.reset();
  recipe.cooked_weight = Grams(1000);
  CHECK(*rice_moisture(recipe, kProfile.sets[kLikely]) == doctest::Approx(0.585).epsilon(1e-3));
}

TEST_CASE("a word for the rice is the last resort and gives the word's range") {
  JarRecipe recipe;
  CHECK_FALSE(rice_moisture(recipe, kProfile.sets[kLikely]));
  recipe.cooked = CookedWord::dry;
  CHECK(*rice_moisture(recipe, kProfile.sets[kCautious]) == 0.57);
  CHECK(*rice_moisture(recipe, kProfile.sets[kHopeful]) == 0.50);
  recipe.cooked = CookedWord::firm;
  CHECK(*rice_moisture(recipe, kProfile.sets[kLikely]) == 0.60);
  recipe.cooked = CookedWord::soft;
  CHECK(*rice_moisture(recipe, kProfile.sets[kLikely]) == 0.665);
}

TEST_CASE("missing weights name the figures that cannot be known, and none is estimated") {
  CHECK(unknowable(whole()).empty());
  CHECK(has_mix(whole()));
  JarRecipe recipe = whole();
  recipe.sugar.reset();
  CHECK_FALSE(has_mix(recipe));
  REQUIRE(unknowable(recipe).size() == 8);
  CHECK(unknowable(recipe).front() ==
        Unknowable{"surface activity", "not told: the weight of the sugar"});
  recipe.rice.reset();
  recipe.raw.reset();
  CHECK(unknowable(recipe).front().why ==
        "not told: the weight of the rice, how wet the rice was (raw weight or a word), the weight "
        "of the sugar");
}

TEST_CASE("what is taken in place of something untold is said") {
  CHECK(assumptions(whole(), kProfile).empty());
  JarRecipe recipe;
  recipe.sugar = Grams(100);
  recipe.cooked = CookedWord::firm;
  const auto said = assumptions(recipe, kProfile);
  REQUIRE(said.size() == 5);
  CHECK(said[0] == "the cover was not told: taken as plain paper");
  CHECK(said[1] == "the mouth was not told: taken as 9 cm (7 to 11 cm)");
  CHECK(said[2] == "the vessel's size was not told: taken as filled to 70 %");
  CHECK(said[3] == "the kind of sugar was not told: taken as brown");
  CHECK(said[4] ==
        "the rice's water is from a word, not from weights, and the range is wide for it");
}

TEST_CASE("starch that became glucose takes its water along, and the mass stays") {
  JarRecipe recipe = whole();
  Parameters set = kProfile.sets[kLikely];
  set.starch_to_glucose = 0.10;
  const Mix rice = rice_mix(recipe, set);
  CHECK(rice.mass() == doctest::Approx(1200).epsilon(1e-9));
  set.starch_to_glucose = 0.0;
  CHECK(rice_mix(recipe, set).water > rice.water);
  CHECK(rice_mix(recipe, set).solids > rice.solids);
}

TEST_CASE("a vessel is as wide as high, and its headspace is what is not filled") {
  const Vessel jar = vessel(whole(), 2510, kProfile.sets[kLikely]);
  CHECK(jar.contents.radius == doctest::Approx(0.0846).epsilon(1e-3));
  CHECK(jar.contents.height + jar.headspace == doctest::Approx(2 * 0.0846).epsilon(1e-3));
  CHECK(jar.mouth_area == doctest::Approx(0.0095033).epsilon(1e-4));  // 11 cm
  // Overfilled on paper: the vessel grows rather than the headspace going negative.
  const Vessel full = vessel(whole(), 9000, kProfile.sets[kLikely]);
  CHECK(full.headspace == doctest::Approx(0.005));
}
