// What a keeper told about a jar when it was closed, checked, and what can be worked out from it.
// What was not told stays unknown: figures that need it are named, none is estimated silently.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "rules/culture/heat.h"
#include "rules/culture/mix.h"
#include "rules/culture/mouth.h"
#include "sensors/reading.h"

namespace torpor::rules::culture {

enum class CookedWord { dry, firm, soft };

struct JarRecipe {
  std::optional<Grams> rice;           // colonised rice as mixed
  std::optional<Grams> raw;            // dry rice it was cooked from
  std::optional<Grams> cooked_weight;  // cooked rice, where the colonised weight is unknown
  std::optional<CookedWord> cooked;
  std::optional<Grams> sugar;           // mixed in; without the topping
  std::optional<Grams> topping;         // on top, unmixed; not told: none
  std::optional<SugarKind> sugar_kind;  // not told: brown
  std::optional<Grams> empty_vessel;
  std::optional<double> volume_ml;  // of the vessel to the brim
  std::optional<double> mouth_mm;   // diameter of the opening
  std::optional<Cover> cover;       // not told: paper
  Instant closed;
  // A jar this one was fed from was seen bubbling while its sugar was undissolved.
  bool parent_worked_in_sugar = false;
  friend bool operator==(const JarRecipe&, const JarRecipe&) = default;
};

// Refuses what cannot be: negative, not finite, no rice at all (0 g), more dry rice than the weight
// allows, a jar of a tonne. The sentence says what was found and what to do.
[[nodiscard]] tl::expected<void, std::string> check_recipe(const JarRecipe& recipe);

// A figure that cannot be known, and why: {"water activity", "the weight of the sugar was not
// told"}.
struct Unknowable {
  std::string_view figure;
  std::string why;
  friend bool operator==(const Unknowable&, const Unknowable&) = default;
};
[[nodiscard]] std::vector<Unknowable> unknowable(const JarRecipe& recipe);
// What was taken in place of something not told, in plain words: "the mouth was not told: taken as
// 9 cm (7 to 11 cm)".
[[nodiscard]] std::vector<std::string> assumptions(const JarRecipe& recipe, const Profile& profile);

// True if rice, its wetness and sugar are known, so that there is a mix to reckon with.
[[nodiscard]] bool has_mix(const JarRecipe& recipe);
// g of water per g of colonised rice under a set; nullopt if neither weighed nor worded.
[[nodiscard]] std::optional<double> rice_moisture(const JarRecipe& recipe, const Parameters& set);
// The rice alone. Precondition: its weight and moisture are known.
[[nodiscard]] Mix rice_mix(const JarRecipe& recipe, const Parameters& set);
// Rice and mixed-in sugar, and the topping. Precondition: has_mix().
[[nodiscard]] Mix body_mix(const JarRecipe& recipe, const Parameters& set);
[[nodiscard]] Mix topping_mix(const JarRecipe& recipe, const Parameters& set);

// Shape of the vessel and how full it is, as far as told; the rest from the profile's set.
struct Vessel {
  Cylinder contents;           // m
  double mouth_area = 0.0;     // m2
  double cross_section = 0.0;  // m2
  double headspace = 0.0;      // m
  double volume = 0.0;         // m3 to the brim
};
// `contents_mass`: g now in the jar.
[[nodiscard]] Vessel vessel(const JarRecipe& recipe, double contents_mass, const Parameters& set);
// Sugar that covers a mouth as a layer on top, g, to 5 g; nullopt: a usual mouth.
[[nodiscard]] Grams topping_for(std::optional<double> mouth_mm);
inline constexpr double kUsualMouth = 90.0;  // mm, of a preserving jar
// Told mass of everything in the jar at closing, g; 2 kg where it was not told (heat only).
[[nodiscard]] double told_mass(const JarRecipe& recipe);

}  // namespace torpor::rules::culture
