#include "daemon/command/sugar.h"

#include <fmt/format.h>

#include <array>
#include <cmath>
#include <nlohmann/json.hpp>

#include "daemon/command/arguments.h"
#include "daemon/report/printable.h"
#include "rules/culture/mix.h"
#include "rules/culture/mixing.h"
#include "rules/culture/recipe.h"
#include "rules/culture/words.h"

namespace torpor::daemon {
namespace {

namespace culture = rules::culture;
using culture::Ensemble;

constexpr int kColumns = 80;

double& member_of(Ensemble& ensemble, std::size_t m) {
  return m == culture::kCautious ? ensemble.cautious
         : m == culture::kLikely ? ensemble.likely
                                 : ensemble.hopeful;
}

tl::expected<culture::SugarKind, Failure> kind_of(const std::string& word) {
  if (word.empty() || word == "brown") return culture::SugarKind::brown;
  if (word == "white") return culture::SugarKind::white;
  if (word == "raw") return culture::SugarKind::raw;
  return usage(
      fmt::format("'{}' is no kind of sugar known here; say white, brown or raw", printable(word)));
}

tl::expected<std::optional<Grams>, Failure> weight_of(const std::string& text) {
  if (text.empty()) return std::optional<Grams>();
  const auto weight = read_weight(text);
  if (!weight) return usage(weight.error());
  return std::optional(*weight);
}

tl::expected<culture::JarRecipe, Failure> recipe_of(const SugarQuestion& question) {
  culture::JarRecipe recipe;
  const auto rice = weight_of(question.rice);
  const auto raw = weight_of(question.raw);
  if (!rice) return tl::unexpected(rice.error());
  if (!raw) return tl::unexpected(raw.error());
  recipe.rice = *rice;
  recipe.raw = *raw;
  if (question.cooked == "dry") recipe.cooked = culture::CookedWord::dry;
  if (question.cooked == "firm") recipe.cooked = culture::CookedWord::firm;
  if (question.cooked == "soft") recipe.cooked = culture::CookedWord::soft;
  if (!question.cooked.empty() && !recipe.cooked) {
    return usage(fmt::format("'{}' is not how rice is cooked here; say dry, firm or soft",
                             printable(question.cooked)));
  }
  if (!recipe.rice) {
    return usage(
        "the weight of the colonised rice is missing: torpor sugar --rice 1200g --raw "
        "560g");
  }
  if (!recipe.raw && !recipe.cooked) {
    return usage(
        "how wet the rice is must be known: --raw, the dry rice it was cooked from, or --cooked "
        "dry, firm or soft");
  }
  if (const auto checked = culture::check_recipe(recipe); !checked) {
    return tl::unexpected(Failure{ExitCode::refused, checked.error()});
  }
  return recipe;
}

std::string ratio_words(const Ensemble& ratio) {
  return fmt::format("{:.2f} times the rice ({:.2f} to {:.2f})", ratio.likely, ratio.hopeful,
                     ratio.cautious);
}

nlohmann::ordered_json ensemble_json(const Ensemble& ensemble) {
  return {
      {"cautious", ensemble.cautious}, {"likely", ensemble.likely}, {"hopeful", ensemble.hopeful}};
}

}  // namespace

tl::expected<SugarView, Failure> answer_sugar(const SugarQuestion& question) {
  auto recipe = recipe_of(question);
  if (!recipe) return tl::unexpected(recipe.error());
  const auto kind = kind_of(question.kind);
  if (!kind) return tl::unexpected(kind.error());
  const auto sugar = weight_of(question.sugar);
  if (!sugar) return tl::unexpected(sugar.error());
  Celsius temperature = culture::kUsualRoom;
  if (!question.temperature.empty()) {
    const auto read = read_temperature(question.temperature);
    if (!read) return usage(read.error());
    temperature = *read;
    // The range of the solubility formula.
    if (temperature.value() < 0.0 || temperature.value() > 60.0) {
      return usage(fmt::format("{:.4g} °C is outside 0 to 60 °C, where the formulas hold",
                               temperature.value()));
    }
  }

  const culture::Profile profile;
  SugarView view;
  view.rice_g = recipe->rice->value();
  view.kind = question.kind.empty() ? "brown" : question.kind;
  view.temperature_degC = temperature.value();
  view.asked_other_way = sugar->has_value();
  if (view.asked_other_way) view.sugar_shortfall_g.emplace();
  for (std::size_t m = 0; m < culture::kMembers; ++m) {
    const culture::Parameters& set = profile.sets[m];
    const culture::Chemistry chemistry(set, temperature);
    const culture::Mix rice = culture::rice_mix(*recipe, set);
    const double grams = sugar->has_value()
                             ? (*sugar)->value()
                             : culture::kMostOverSaturation *
                                   culture::sugar_to_saturate(rice, *kind, chemistry).sugar;
    const culture::Mix mix = rice + culture::sugar_mix(grams, *kind, set);
    member_of(view.sugar_g, m) = grams;
    member_of(view.sugar_to_rice_ratio, m) = grams / view.rice_g;
    member_of(view.water_activity, m) = culture::equilibrium(mix, chemistry).activity;
    member_of(view.water_buffer_g, m) = culture::water_buffer(mix, chemistry);
    if (view.sugar_shortfall_g) {
      member_of(*view.sugar_shortfall_g, m) =
          culture::sugar_to_saturate(mix, *kind, chemistry).sugar;
    }
  }
  recipe->sugar = sugar->value_or(Grams(view.sugar_g.likely));
  recipe->sugar_kind = *kind;
  const auto advice = culture::mix_advice(*recipe, profile, temperature);
  view.advice =
      view.asked_other_way ? culture::mix_words(*advice, "") : culture::equal_weight_words(*advice);
  if (question.kind.empty()) view.assumptions.emplace_back("brown sugar");
  if (question.temperature.empty()) {
    view.assumptions.push_back(fmt::format("a room of {:.0f} °C", culture::kUsualRoom.value()));
  }
  return view;
}

std::string sugar_json(const SugarView& view) {
  nlohmann::ordered_json json;
  json["sugar_g"] = ensemble_json(view.sugar_g);
  json["sugar_to_rice_ratio"] = ensemble_json(view.sugar_to_rice_ratio);
  json["water_activity"] = ensemble_json(view.water_activity);
  json["water_buffer_g"] = ensemble_json(view.water_buffer_g);
  if (view.sugar_shortfall_g) json["sugar_shortfall_g"] = ensemble_json(*view.sugar_shortfall_g);
  json["advice"] = view.advice;
  return json.dump(2);
}

std::string sugar_text(const SugarView& view) {
  std::string text;
  const auto line = [&text](std::string_view name, const std::string& value) {
    text += fmt::format("{:<16}{}\n", name, value);
  };
  const auto say_advice = [&] {
    for (const std::string& part : wrap(view.advice, kColumns)) text += part + '\n';
  };
  if (view.asked_other_way) {
    say_advice();
    line("sugar", fmt::format("{:.0f} g of {} sugar, {:.2f} times the rice", view.sugar_g.likely,
                              view.kind, view.sugar_to_rice_ratio.likely));
  } else {
    line("sugar",
         fmt::format("{} of {} sugar ({:.0f} g to {:.0f} g), {}",
                     culture::gram_words(view.sugar_g.likely), view.kind, view.sugar_g.hopeful,
                     view.sugar_g.cautious, culture::kitchen_words(view.sugar_g.likely)));
    line("", ratio_words(view.sugar_to_rice_ratio));
  }
  line("water activity", culture::activity_words(view.water_activity));
  line("water buffer", culture::gram_words(view.water_buffer_g.likely) +
                           " it can still take before all sugar is dissolved");
  if (view.sugar_shortfall_g) {
    const Ensemble& missing = *view.sugar_shortfall_g;
    line("missing", missing.cautious < 1.0
                        ? std::string("nothing")
                        : fmt::format("{:.0f} g ({:.0f} g to {:.0f} g) before some is left over",
                                      missing.likely, missing.hopeful, missing.cautious));
  } else {
    say_advice();
    text +=
        "Mix in the larger amount when in doubt: what stays undissolved does no harm, what is\n"
        "missing wakes the jar. Then spread a thin layer of sugar on top.\n";
  }
  if (!view.assumptions.empty()) {
    text += fmt::format("Taken, because it was not said: {}.\n", fmt::join(view.assumptions, ", "));
  }
  return text + "Estimates, by the built-in culture profile.\n";
}

}  // namespace torpor::daemon
