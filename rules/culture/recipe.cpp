#include "rules/culture/recipe.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace torpor::rules::culture {
namespace {

// A jar heavier than this is a slip of the hand (a cask would be another model).
constexpr double kHeaviest = 100000.0;  // g
// Dry matter of raw rice as bought, kg/kg (M: 12-14 % moisture).
constexpr double kRawRiceDry = 0.87;
// Without any weight the heat model takes a jar of this size and says so.
constexpr double kAssumedMass = 2000.0;  // g
// A jar of unknown volume is taken as filled so far.
constexpr double kAssumedFill = 0.7;
constexpr double kLeastHeadspace = 0.005;  // m

tl::expected<void, std::string> check_grams(std::string_view what, std::optional<Grams> told) {
  if (!told) return {};
  const double grams = told->value();
  if (!std::isfinite(grams) || grams < 0.0) {
    return tl::unexpected(fmt::format("{} is {} g; a weight is 0 g or more", what, grams));
  }
  if (grams > kHeaviest) {
    return tl::unexpected(fmt::format("{} is {} g; more than {} kg in one jar is taken as a slip",
                                      what, grams, kHeaviest / 1000.0));
  }
  return {};
}

tl::expected<void, std::string> check_size(std::string_view what, std::optional<double> told,
                                           double lowest, double highest, std::string_view unit) {
  if (!told || (*told >= lowest && *told <= highest)) return {};
  return tl::unexpected(
      fmt::format("{} is {} {}; expected {} to {} {}", what, *told, unit, lowest, highest, unit));
}

std::optional<Grams> rice_weight(const JarRecipe& recipe) {
  return recipe.rice ? recipe.rice : recipe.cooked_weight;
}

}  // namespace

tl::expected<void, std::string> check_recipe(const JarRecipe& recipe) {
  const std::pair<std::string_view, std::optional<Grams>> weights[] = {
      {"rice", recipe.rice},
      {"raw rice", recipe.raw},
      {"cooked rice", recipe.cooked_weight},
      {"sugar", recipe.sugar},
      {"topping", recipe.topping},
      {"the empty vessel", recipe.empty_vessel},
  };
  for (const auto& [what, told] : weights) {
    if (auto checked = check_grams(what, told); !checked) return checked;
  }
  for (const auto& [what, told] : {weights[0], weights[1], weights[2]}) {
    if (told && told->value() == 0.0) {
      return tl::unexpected(fmt::format(
          "{} is 0 g; a jar of culture holds rice: leave it out if it is not known", what));
    }
  }
  const auto rice = rice_weight(recipe);
  if (rice && recipe.raw && recipe.raw->value() * kRawRiceDry >= rice->value()) {
    return tl::unexpected(
        fmt::format("{} g of raw rice cannot become {} g of cooked rice: cooking adds water; "
                    "check both weights",
                    recipe.raw->value(), rice->value()));
  }
  if (rice && recipe.raw && recipe.raw->value() * 8.0 < rice->value()) {
    return tl::unexpected(fmt::format(
        "{} g of raw rice cannot become {} g of colonised rice (2 to 3 times is usual); check both "
        "weights",
        recipe.raw->value(), rice->value()));
  }
  if (auto checked = check_size("the vessel", recipe.volume_ml, 50.0, 200000.0, "ml"); !checked) {
    return checked;
  }
  return check_size("the mouth", recipe.mouth_mm, 5.0, 1000.0, "mm");
}

bool has_mix(const JarRecipe& recipe) {
  return rice_weight(recipe) && (recipe.raw || recipe.cooked) && recipe.sugar;
}

std::vector<Unknowable> unknowable(const JarRecipe& recipe) {
  std::vector<std::string_view> missing;
  if (!rice_weight(recipe)) missing.push_back("the weight of the rice");
  if (!recipe.raw && !recipe.cooked)
    missing.push_back("how wet the rice was (raw weight or a word)");
  if (!recipe.sugar) missing.push_back("the weight of the sugar");
  if (missing.empty()) return {};
  std::string why = fmt::format("not told: {}", fmt::join(missing, ", "));
  std::vector<Unknowable> result;
  for (const std::string_view figure :
       {"surface activity", "body activity", "water gained", "water buffer", "wake progress",
        "slow work", "time to wake", "sugar shortfall"}) {
    result.push_back({figure, why});
  }
  return result;
}

std::vector<std::string> assumptions(const JarRecipe& recipe, const Profile& profile) {
  std::vector<std::string> taken;
  const Parameters& likely = profile.sets[kLikely];
  if (!recipe.cover) taken.push_back("the cover was not told: taken as plain paper");
  if (!recipe.mouth_mm) {
    taken.push_back(fmt::format("the mouth was not told: taken as {:.0f} cm ({:.0f} to {:.0f} cm)",
                                100 * likely.mouth_diameter,
                                100 * profile.sets[kHopeful].mouth_diameter,
                                100 * profile.sets[kCautious].mouth_diameter));
  }
  if (!recipe.volume_ml) {
    taken.push_back(fmt::format("the vessel's size was not told: taken as filled to {:.0f} %",
                                100 * kAssumedFill));
  }
  if (!recipe.sugar_kind && recipe.sugar) {
    taken.push_back("the kind of sugar was not told: taken as brown");
  }
  if (!recipe.raw && recipe.cooked) {
    taken.push_back(
        "the rice's water is from a word, not from weights, and the range is wide for it");
  }
  return taken;
}

std::optional<double> rice_moisture(const JarRecipe& recipe, const Parameters& set) {
  const auto rice = rice_weight(recipe);
  if (rice && recipe.raw) {
    const double moisture = 1.0 - set.rice_dry_share * recipe.raw->value() / rice->value();
    return std::clamp(moisture, 0.0, 1.0);
  }
  if (!recipe.cooked) return std::nullopt;
  switch (*recipe.cooked) {
    case CookedWord::dry:
      return set.dry_cooked_moisture;
    case CookedWord::firm:
      return set.firm_cooked_moisture;
    case CookedWord::soft:
      break;
  }
  return set.soft_cooked_moisture;
}

Mix rice_mix(const JarRecipe& recipe, const Parameters& set) {
  const double grams = rice_weight(recipe)->value();
  const double moisture = *rice_moisture(recipe, set);
  const double dry = grams * (1.0 - moisture);
  const double solubles = set.rice_solubles * dry;
  // A gram of starch becomes 1.111 g of glucose; the difference is water taken up.
  const double starch = set.starch_to_glucose * (dry - solubles);
  const double glucose = starch * kMolarHexose / kMolarStarchUnit;
  return {std::max(0.0, grams * moisture - (glucose - starch)), 0.0, solubles + glucose,
          dry - solubles - starch};
}

Mix body_mix(const JarRecipe& recipe, const Parameters& set) {
  return rice_mix(recipe, set) +
         sugar_mix(recipe.sugar->value(), recipe.sugar_kind.value_or(SugarKind::brown), set);
}

Mix topping_mix(const JarRecipe& recipe, const Parameters& set) {
  return sugar_mix(recipe.topping.value_or(Grams(0.0)).value(),
                   recipe.sugar_kind.value_or(SugarKind::brown), set);
}

double told_mass(const JarRecipe& recipe) {
  const auto rice = rice_weight(recipe);
  if (!rice || !recipe.sugar) return kAssumedMass;
  return rice->value() + recipe.sugar->value() + recipe.topping.value_or(Grams(0.0)).value();
}

// An even layer of 7 mm hides the rice: common practice, no source. Poured sugar weighs 0.85 g/ml
// (200 g in a cup of 236.6 ml, from memory).
Grams topping_for(std::optional<double> mouth_mm) {
  constexpr double kDepth = 7.0, kPoured = 0.85 / 1000.0;  // mm, g/mm3
  const double mouth = mouth_mm.value_or(kUsualMouth);
  const double grams = 0.25 * std::numbers::pi * mouth * mouth * kDepth * kPoured;
  return Grams(std::max(5.0, 5.0 * std::round(grams / 5.0)));
}

Vessel vessel(const JarRecipe& recipe, double contents_mass, const Parameters& set) {
  Vessel result;
  const double filled = contents_mass / 1000.0 / set.packed_density;  // m3
  result.volume = recipe.volume_ml ? *recipe.volume_ml * 1e-6 : filled / kAssumedFill;
  result.volume = std::max(result.volume, filled);
  // As high as wide, as most jars are.
  const double radius = std::cbrt(result.volume / (2.0 * std::numbers::pi));
  result.cross_section = std::numbers::pi * radius * radius;
  result.contents = {radius, std::max(0.01, filled / result.cross_section)};
  result.headspace =
      recipe.volume_ml ? 2.0 * radius - result.contents.height : set.headspace_height;
  result.headspace = std::max(result.headspace, kLeastHeadspace);
  const double mouth =
      recipe.mouth_mm ? *recipe.mouth_mm / 1000.0 : std::min(set.mouth_diameter, 2.0 * radius);
  result.mouth_area = 0.25 * std::numbers::pi * mouth * mouth;
  return result;
}

}  // namespace torpor::rules::culture
