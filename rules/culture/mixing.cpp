#include "rules/culture/mixing.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "rules/culture/words.h"

namespace torpor::rules::culture {
namespace {

// Weights within a tenth are equal to a keeper. Common practice, no source.
constexpr double kEqual = 0.10;
// Far too much: beyond what the wettest rice it may be dissolves, by half; and well beyond equal
// weight, so that nobody who keeps to common practice with dry rice is told of waste.
constexpr double kFarTooMuch = 1.5;
constexpr double kWellOverEqual = 1.25;
// Sugar to stir what lies on top in with: the smallest weight worth telling.
constexpr double kSpoonfuls = 20.0;  // g

constexpr std::array<double Ensemble::*, kMembers> kOf = {&Ensemble::cautious, &Ensemble::likely,
                                                          &Ensemble::hopeful};

// To the next 10 g, or 50 g from a kilogram on.
double round_up(double grams) {
  const double step = grams > 1000.0 ? 50.0 : 10.0;
  return step * std::ceil(grams / step - 1e-6);
}
std::string about_grams(double grams) {
  const double step = grams >= 1000.0 ? 50.0 : 10.0;
  return fmt::format("about {:.0f} g", step * std::round(grams / step));
}

bool near_enough(double shortfall, double need) {
  return shortfall <= std::max(kNearEnoughGrams, kNearEnough * need);
}

Mixed judged(const MixAdvice& advice) {
  if (advice.sugar <= 0.0) return Mixed::no_sugar;
  const bool all_there = near_enough(advice.shortfall.likely, advice.need.likely);
  if (advice.body_activity > kTooWetToSleep) return all_there ? Mixed::on_top : Mixed::too_little;
  if (!all_there) return Mixed::lean;
  const bool beyond_rice = advice.sugar > kFarTooMuch * advice.need.cautious;
  return beyond_rice && advice.sugar > kWellOverEqual * advice.rice ? Mixed::far_too_much
                                                                    : Mixed::enough;
}

// What this member takes the rice for where nothing was told of its water.
CookedWord guessed(std::size_t member) {
  return member == kCautious ? CookedWord::soft
         : member == kLikely ? CookedWord::firm
                             : CookedWord::dry;
}

std::string_view word_of(CookedWord word) {
  switch (word) {
    case CookedWord::dry:
      return "dry";
    case CookedWord::firm:
      return "firm";
    case CookedWord::soft:
      break;
  }
  return "soft";
}

// "rice as wet as this (55 % water by its weights)".
std::string such_rice(const MixAdvice& advice) {
  const double percent = 100.0 * advice.moisture.likely;
  switch (advice.water_from) {
    case WaterFrom::weights:
      return fmt::format("rice as wet as this ({:.0f} % water by its weights)", percent);
    case WaterFrom::word:
      return fmt::format("rice as wet as this (about {:.0f} % water, by the word `{}`)", percent,
                         word_of(advice.word.value_or(CookedWord::firm)));
    case WaterFrom::guess:
      break;
  }
  return fmt::format(
      "such rice (`raw` was not told, so it is taken as firm cooked, about {:.0f} % water)",
      percent);
}

std::string capital(std::string text) {
  text.front() = static_cast<char>(text.front() - 'a' + 'A');
  return text;
}

bool equal(double grams, double rice) { return std::abs(grams - rice) <= kEqual * rice; }

// What the need is beside the rice's own weight, behind "takes about 1000 g:".
std::string_view beside_equal(const MixAdvice& advice) {
  if (equal(advice.need.likely, advice.rice)) return "equal weight, as is common practice";
  return advice.need.likely > advice.rice ? "more than the equal weight of common practice"
                                          : "less than the equal weight of common practice";
}

std::string cups(double grams) { return fmt::format("({})", kitchen_words(grams)); }

std::string then_tell(double grams, std::string_view jar) {
  if (jar.empty()) return "";
  return fmt::format(", then tell `add sugar {:.0f} g to {} stirred`", grams, jar);
}

std::string_view the_jar(std::string_view jar) { return jar.empty() ? "it" : jar; }

std::string too_little_words(const MixAdvice& advice, std::string_view jar) {
  const double grams = advice.to_stir_in();
  std::string text = fmt::format("Stir about {:.0f} g more sugar {} into {}{}. ", grams,
                                 cups(grams), the_jar(jar), then_tell(grams, jar));
  if (equal(advice.sugar, advice.rice)) {
    return text + fmt::format(
                      "Equal weight is common practice, but {} takes {}: with {:.0f} g it will not "
                      "sleep long.",
                      such_rice(advice), about_grams(advice.need.likely), advice.sugar);
  }
  return text + fmt::format("With {:.0f} g it will not sleep long. {} takes {}: {}.", advice.sugar,
                            capital(such_rice(advice)), about_grams(advice.need.likely),
                            beside_equal(advice));
}

std::string lean_words(const MixAdvice& advice, std::string_view jar) {
  const double grams = advice.to_stir_in();
  // Of a word nobody knows how wet the rice really was; weights say it well enough.
  const std::string wetter = advice.water_from == WaterFrom::weights
                                 ? ""
                                 : fmt::format(", up to {:.0f} g if it is wetter still",
                                               round_up(advice.shortfall.cautious));
  return fmt::format("{} {} takes about {:.0f} g more {}{}: stir that in to be safe{}.",
                     advice.by_model ? std::string("It is short of sugar by now.")
                     : equal(advice.sugar, advice.rice)
                         ? std::string("Equal weight is common practice and mostly does.")
                         : fmt::format("{:.0f} g of sugar may do.", advice.sugar),
                     capital(such_rice(advice)), grams, cups(grams), wetter, then_tell(grams, jar));
}

std::string enough_words(const MixAdvice& advice) {
  if (equal(advice.sugar, advice.rice)) {
    return fmt::format("That is sugar enough: equal weight, as is common practice, holds for {}.",
                       such_rice(advice));
  }
  return fmt::format("That is sugar enough: {} takes {}, {}.", such_rice(advice),
                     about_grams(advice.need.likely), beside_equal(advice));
}

}  // namespace

double sugar_in_kitchen_steps(double grams) { return round_up(grams); }

double MixAdvice::to_stir_in() const {
  switch (mixed) {
    case Mixed::no_sugar:
    case Mixed::too_little:
    case Mixed::on_top:
      return std::max(kSpoonfuls, round_up(shortfall.likely));
    case Mixed::lean:
      return round_up(shortfall.likely);
    case Mixed::enough:
    case Mixed::far_too_much:
      break;
  }
  return 0.0;
}

bool MixAdvice::comes_first() const { return mixed != Mixed::lean && mixed != Mixed::enough; }

std::optional<MixAdvice> mix_advice(const JarRecipe& recipe, const Profile& profile, Celsius room) {
  const std::optional<Grams> rice = recipe.rice ? recipe.rice : recipe.cooked_weight;
  if (!rice || !recipe.sugar) return std::nullopt;
  MixAdvice advice;
  advice.rice = rice->value();
  advice.sugar = recipe.sugar->value() + recipe.topping.value_or(Grams(0.0)).value();
  advice.word = recipe.cooked;
  advice.water_from = recipe.raw      ? WaterFrom::weights
                      : recipe.cooked ? WaterFrom::word
                                      : WaterFrom::guess;
  const SugarKind kind = recipe.sugar_kind.value_or(SugarKind::brown);
  for (std::size_t m = 0; m < kMembers; ++m) {
    const Parameters& set = profile.sets[m];
    const Chemistry chemistry(set, room);
    JarRecipe own = recipe;
    if (advice.water_from == WaterFrom::guess) own.cooked = guessed(m);
    const Mix body = body_mix(own, set);
    advice.moisture.*kOf[m] = *rice_moisture(own, set);
    advice.need.*kOf[m] = sugar_to_saturate(rice_mix(own, set), kind, chemistry).sugar;
    advice.shortfall.*kOf[m] =
        sugar_to_saturate(body + topping_mix(own, set), kind, chemistry).sugar;
    if (m == kLikely) advice.body_activity = equilibrium(body, chemistry).activity;
  }
  advice.mixed = judged(advice);
  return advice;
}

MixAdvice as_it_stands(const MixAdvice& told, const Figures& now) {
  if (!now.sugar_shortfall_g || !now.body_activity) return told;
  MixAdvice advice = told;
  advice.by_model = true;
  advice.shortfall = *now.sugar_shortfall_g;
  advice.body_activity = now.body_activity->likely;
  if (advice.shortfall.likely > 0.0) advice.need.likely = advice.sugar + advice.shortfall.likely;
  advice.mixed = judged(advice);
  return advice;
}

std::string mix_words(const MixAdvice& advice, std::string_view jar) {
  const double grams = advice.to_stir_in();
  switch (advice.mixed) {
    case Mixed::no_sugar:
      return fmt::format(
          "Stir about {:.0f} g of sugar {} into {} to put it to sleep{}. Without sugar nothing "
          "keeps it asleep. {} takes {}: {}.",
          grams, cups(grams), the_jar(jar), then_tell(grams, jar), capital(such_rice(advice)),
          about_grams(advice.need.likely), beside_equal(advice));
    case Mixed::too_little:
      return too_little_words(advice, jar);
    case Mixed::on_top:
      return fmt::format(
          "Stir the sugar on top into {}, with another {:.0f} g {}{}. There is enough in all, but "
          "from the top it reaches down a finger's breadth in a month, and what lies below will "
          "not sleep long.",
          the_jar(jar), grams, cups(grams), then_tell(grams, jar));
    case Mixed::lean:
      return lean_words(advice, jar);
    case Mixed::enough:
      return enough_words(advice);
    case Mixed::far_too_much:
      break;
  }
  return fmt::format(
      "Leave it so: {:.0f} g is far more sugar than {} can dissolve. {} is enough; the rest does "
      "no harm and is only wasted.",
      advice.sugar, such_rice(advice), capital(about_grams(advice.need.likely)));
}

std::string mix_words_of_old(const MixAdvice& advice, std::string_view jar) {
  switch (advice.mixed) {
    case Mixed::no_sugar:
    case Mixed::too_little:
    case Mixed::on_top:
      return fmt::format(
          "By what was told {} got {:.0f} g too little sugar mixed in: {} takes {}. `ask {}` says "
          "what it needs now.",
          jar, advice.to_stir_in(), such_rice(advice), about_grams(advice.need.likely), jar);
    case Mixed::lean:
    case Mixed::enough:
    case Mixed::far_too_much:
      break;
  }
  return "";
}

std::string mix_brief(const MixAdvice& advice) {
  switch (advice.mixed) {
    case Mixed::no_sugar:
      return "no sugar";
    case Mixed::too_little:
      return fmt::format("{:.0f} g too little sugar", advice.to_stir_in());
    case Mixed::on_top:
      return "its sugar lies on top and has to be stirred in";
    case Mixed::far_too_much:
      return "far more sugar than dissolves";
    case Mixed::lean:
    case Mixed::enough:
      break;
  }
  return "";
}

std::string equal_weight_words(const MixAdvice& advice) {
  const double need = advice.need.likely;
  if (equal(need, advice.rice)) {
    return fmt::format("Equal weight, as is common practice, holds for {}.", such_rice(advice));
  }
  return fmt::format("{} takes {} than the equal weight of common practice.",
                     capital(such_rice(advice)), need > advice.rice ? "more" : "less");
}

}  // namespace torpor::rules::culture
