// What rice and sugar come to when they are mixed: whether the sugar puts this rice to sleep, how
// much is missing or wasted, and the words for it. `new jar`, `add sugar` and `torpor sugar` say
// these words and have none of their own. Not the jar through time: that is jar_model.h.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "rules/culture/recipe.h"
#include "rules/culture/verdict.h"

namespace torpor::rules::culture {

// Where nothing else is known: a store room of common practice. The sugar that water dissolves
// moves by a percent or two between 10 and 30 degC.
inline constexpr Celsius kUsualRoom{20.0};

enum class Mixed {
  no_sugar,
  too_little,    // the likely mix stands above kTooWetToSleep
  on_top,        // enough in all, but unmixed: below the topping it is too little
  lean,          // all of it dissolves; common practice mostly gets away with it
  enough,        // some stays undissolved, or misses it by less than kNearEnough
  far_too_much,  // more than half as much again as dissolves in the wettest rice it may be
};

// How the rice's water is known.
enum class WaterFrom { weights, word, guess };

// Sugar to stir in, g, rounded up as it is told.
[[nodiscard]] double sugar_in_kitchen_steps(double grams);

struct MixAdvice {
  Mixed mixed = Mixed::enough;
  double rice = 0.0;   // g
  double sugar = 0.0;  // g, mixed in and on top
  WaterFrom water_from = WaterFrom::weights;
  std::optional<CookedWord> word;
  Ensemble moisture;         // g of water per g of rice
  Ensemble need;             // g: the least sugar that leaves some undissolved, told sugar included
  Ensemble shortfall;        // g of that which is missing
  double body_activity = 1;  // likely, of what is mixed
  bool by_model = false;     // as the jar stands, not as it was mixed: as_it_stands()
  // g to stir in, round; 0 where nothing has to be.
  [[nodiscard]] double to_stir_in() const;
  // True where the advice is to be said before anything else.
  [[nodiscard]] bool comes_first() const;
};

// By what was told. nullopt: the weight of rice or sugar is not known. Where nothing was told of
// its water the rice is taken as firm-cooked, and may be anything from dry to soft. Precondition:
// check_recipe(recipe) passed.
[[nodiscard]] std::optional<MixAdvice> mix_advice(const JarRecipe& recipe, const Profile& profile,
                                                  Celsius room = kUsualRoom);
// The same of a jar that is known better: what is missing in it and how wet its body is, by its
// model. Figures without a mix change nothing.
[[nodiscard]] MixAdvice as_it_stands(const MixAdvice& told, const Figures& now);

// One to three sentences, the deed first. `jar`: its id, for the sentence to tell afterwards;
// empty: there is no jar yet.
[[nodiscard]] std::string mix_words(const MixAdvice& advice, std::string_view jar);
// The same of a jar that was mixed long ago, when nothing is to be stirred in unseen; empty:
// nothing was wrong that still counts.
[[nodiscard]] std::string mix_words_of_old(const MixAdvice& advice, std::string_view jar);
// "700 g too little sugar"; empty where nothing is wrong.
[[nodiscard]] std::string mix_brief(const MixAdvice& advice);
// Why equal weight does or does not hold for such rice, one sentence.
[[nodiscard]] std::string equal_weight_words(const MixAdvice& advice);

// Above this common yeasts work (many from .87 on: Beuchat 1981), and the alert of too little sugar
// speaks. Model error and a wettest guess at the rice are not added to it: at equal weights of
// firm-cooked rice, which common practice keeps, the cautious member stands at .88 and the likely
// one at .86.
inline constexpr double kTooWetToSleep = 0.87;
// Missing less than this share of the need, or this weight, is not worth a word: what the room's
// warmth moves (20 to 25 degC: 4 %), and what sticks to a bowl.
inline constexpr double kNearEnough = 0.05;
inline constexpr double kNearEnoughGrams = 20.0;

}  // namespace torpor::rules::culture
