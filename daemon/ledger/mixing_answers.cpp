#include "daemon/ledger/mixing_answers.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/deeds.h"
#include "daemon/ledger/split_share.h"
#include "rules/culture/mixing.h"

namespace torpor::daemon {

namespace {

namespace culture = rules::culture;

// Bubbling, sinking and a wet look are normal for so long.
constexpr Duration kSettlesFor = std::chrono::hours(14 * 24);
// Common practice fills a vessel to two thirds; a guess at how dense it is packed may be off by a
// twentieth.
constexpr double kWellFilled = 2.0 / 3.0;
constexpr double kOverfilled = 0.70;

// Why gas is to be expected.
enum class Gas { settles, stirred, works, some_day };

std::string_view gas_because(Gas gas) {
  switch (gas) {
    case Gas::settles:
      return "a fresh mix makes gas while it settles";
    case Gas::stirred:
      return "sugar stirred in makes it gas again";
    case Gas::works:
      return "it was seen working within two weeks";
    case Gas::some_day:
      break;
  }
  return "";
}

// A cover that does not do, with what to do about it; empty: it does. Common practice, no source.
std::string unfit_cover(Cover cover, Gas gas) {
  if (cover == Cover::tight_lid && gas == Gas::some_day) {
    return "Caution: a culture that wakes makes gas and a tight lid can burst; ease it slowly, a "
           "cloth over it, face and eyes away, or use a cover that breathes.";
  }
  if (cover == Cover::tight_lid) {
    return fmt::format(
        "Ease the tight lid off slowly, a cloth over it, face and eyes away, and tie on paper or "
        "cloth{}: {}, and a tight lid can burst.",
        gas == Gas::works ? " until it is quiet" : "", gas_because(gas));
  }
  if (cover == Cover::film && gas == Gas::some_day) {
    return "Caution: film tied tight holds gas; leave it a way out.";
  }
  if (cover == Cover::film) {
    return fmt::format(
        "Leave gas a way out under the film, or tie on paper or cloth: {}, and film tied tight "
        "holds it.",
        gas_because(gas));
  }
  return "";
}

constexpr std::string_view kFoams =
    "Caution: it was seen working, and stirred sugar makes it foam: leave headspace and a cover "
    "that lets gas out.";

// What else is to be minded under a cover; empty: nothing. Common practice, no source.
std::string cover_note(Cover cover, Gas gas) {
  if (cover == Cover::airlock) {
    return "Keep the airlock clear: a clogged one holds gas. Ease it with face and eyes away.";
  }
  if (cover == Cover::waxed_paper && gas != Gas::some_day) {
    return "Tie the waxed paper loosely while it makes gas; plain paper or cloth lets more out.";
  }
  return "";
}

void put(std::vector<std::string>& sentences, std::string sentence) {
  if (!sentence.empty()) sentences.push_back(std::move(sentence));
}

void add_brief(MixingAnswer& answer, std::string_view words) {
  if (words.empty()) return;
  answer.brief += fmt::format("{}{}", answer.brief.empty() ? "" : ", ", words);
}

void add_cover(MixingAnswer& answer, const std::optional<Cover>& cover, Gas gas) {
  if (!cover) return;
  std::string unfit = unfit_cover(*cover, gas);
  if (!unfit.empty()) add_brief(answer, cover_name(*cover));
  put(answer.first, std::move(unfit));
  put(answer.then, cover_note(*cover, gas));
}

double packed_density() {  // g/ml, of the built-in figures
  static const double kDensity = culture::Profile().sets[culture::kLikely].packed_density / 1000.0;
  return kDensity;
}

std::string larger_vessel(double grams) {
  const double litres = grams / packed_density() / kWellFilled / 1000.0;
  const double step = litres > 5.0 ? 0.5 : 0.1;
  return fmt::format("{:.1f} l", step * std::ceil(litres / step - 1e-6));
}

// Says it if so much leaves no room to rise. `with_sugar`: what is still to be stirred in is
// counted.
void add_too_full(MixingAnswer& answer, double grams, const std::optional<double>& volume_ml,
                  bool with_sugar) {
  if (!volume_ml || grams <= 0.0) return;
  const double filled = grams / packed_density() / *volume_ml;
  if (filled <= kOverfilled) return;
  const std::string vessel = volume_text(*volume_ml);
  const std::string much = fmt::format("{}{:.0f} g", with_sugar ? "with that sugar " : "", grams);
  const std::string how_full =
      filled > 1.0 ? fmt::format("{} are more than {} hold", much, vessel)
                   : fmt::format("{} fill {} to about {:.0f} %", much, vessel, 100.0 * filled);
  answer.first.push_back(fmt::format(
      "Take a vessel of about {}, or put a part into a second jar: {}, and common practice leaves "
      "a third free, for a fresh mix rises.",
      larger_vessel(grams), how_full));
  add_brief(answer, "too full");
}

void add_sugar(MixingAnswer& answer, const culture::MixAdvice& advice, std::string_view jar) {
  (advice.comes_first() ? answer.first : answer.then).push_back(culture::mix_words(advice, jar));
  add_brief(answer, culture::mix_brief(advice));
}

// What still has to be stirred in, where the answer says so before all else.
double sugar_to_come(const std::optional<culture::MixAdvice>& advice) {
  return advice && advice->comes_first() ? advice->to_stir_in() : 0.0;
}

// The jar's recipe with everything in it that was told since.
culture::JarRecipe recipe_by_now(const Jar& jar) {
  culture::JarRecipe recipe = jar.recipe();
  const Rest rest = rest_of(jar, Instant::max(), std::numeric_limits<std::uint64_t>::max());
  const auto left = [&](std::optional<Grams>& told) {
    if (told) told = Grams(told->value() * rest.share);
  };
  left(recipe.rice);
  left(recipe.raw);
  left(recipe.cooked_weight);
  if (!recipe.sugar) return recipe;
  const double closed_in = recipe.sugar->value() + recipe.topping.value_or(Grams(0.0)).value();
  const double all = closed_in * rest.share + rest.added;
  recipe.topping = Grams(std::min(all, rest.on_top));
  recipe.sugar = Grams(all - recipe.topping->value());
  return recipe;
}

}  // namespace

std::string ahead(const std::vector<std::string>& sentences) {
  std::string text;
  for (const std::string& sentence : sentences) text += sentence + ' ';
  return text;
}

bool settles_at(const Jar& jar, Instant at) {
  const auto fresh = [&](Instant since) { return since <= at && at < since + kSettlesFor; };
  return (!jar.split && fresh(jar.closed())) ||
         std::any_of(jar.events.begin(), jar.events.end(), [&](const JarEvent& event) {
           const auto* act = std::get_if<culture::Act>(&event.what);
           const auto* sugar = act != nullptr ? std::get_if<culture::AddSugar>(act) : nullptr;
           return sugar != nullptr && sugar->stirred && fresh(event.at);
         });
}

MixingAnswer at_registration(const Jar& jar, Instant now, const culture::Profile& profile) {
  MixingAnswer answer;
  const bool settles = settles_at(jar, now);
  add_cover(answer, cover_at(jar, now), settles ? Gas::settles : Gas::some_day);
  const auto advice = culture::mix_advice(recipe_by_now(jar), profile);
  if (advice && settles) {
    add_sugar(answer, *advice, jar.made.jar);
  } else if (advice) {
    const std::string words = culture::mix_words_of_old(*advice, jar.made.jar);
    if (!words.empty()) add_brief(answer, culture::mix_brief(*advice));
    put(answer.first, words);
  }
  if (const auto grams = contents_at(jar, now); grams && settles) {
    const double more = sugar_to_come(advice);
    add_too_full(answer, grams->value() + more, jar.made.volume_ml, more > 0.0);
  }
  return answer;
}

MixingAnswer at_split(const Jar& jar, bool settles) {
  MixingAnswer answer;
  add_cover(answer, jar.made.cover, settles ? Gas::settles : Gas::some_day);
  if (settles) add_too_full(answer, jar.split->contents.value(), jar.made.volume_ml, false);
  return answer;
}

MixingAnswer at_deed(const Jar& jar, const Deed& deed, Instant now, bool one_of_several,
                     const culture::JarModel* model, const culture::Profile& profile) {
  MixingAnswer answer;
  const auto* change = std::get_if<culture::ChangeCover>(&deed);
  const auto* sugar = std::get_if<culture::AddSugar>(&deed);
  // What was told late may be another cover's, or of sugar that has long settled.
  const auto cover = cover_at(jar, now);
  if (change != nullptr && cover == change->cover) {
    const Gas gas = works_at(jar, now)     ? Gas::works
                    : settles_at(jar, now) ? Gas::settles
                                           : Gas::some_day;
    add_cover(answer, cover, gas);
    answer.brief.clear();
  }
  if (sugar == nullptr) return answer;
  const bool stirred = sugar->stirred && settles_at(jar, now);
  auto advice = culture::mix_advice(recipe_by_now(jar), profile);
  if (advice && model != nullptr) advice = culture::as_it_stands(*advice, model->figures());
  // What is asked for is as dangerous as what was done.
  const bool stirs = stirred || (advice && advice->to_stir_in() > 0.0);
  if (stirs) add_cover(answer, cover, Gas::stirred);
  if (stirs && works_at(jar, now)) answer.first.emplace_back(kFoams);
  if (!advice) return answer;
  if (one_of_several) {
    add_brief(answer, culture::mix_brief(*advice));
    return answer;
  }
  add_sugar(answer, *advice, jar.made.jar);
  if (const auto grams = contents_at(jar, now); grams && stirred) {
    const double more = sugar_to_come(advice);
    add_too_full(answer, grams->value() + more, jar.made.volume_ml, more > 0.0);
  }
  return answer;
}

}  // namespace torpor::daemon
