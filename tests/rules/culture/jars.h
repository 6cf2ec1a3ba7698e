// Jars for tests: recipes, and air that comes and goes.
#pragma once

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>
#include <string>

#include "rules/culture/jar_model.h"

namespace torpor::rules::culture::testing {

inline constexpr std::int64_t kClosed = 1772409600000;  // 2026-03-02T00:00:00Z

// Rice of a moisture (share of its weight) by the likely set, as weights a keeper would tell.
inline JarRecipe jar_of(double rice, double moisture, double sugar, Cover cover,
                        double topping = 0.0) {
  JarRecipe recipe;
  recipe.rice = Grams(rice);
  recipe.raw = Grams(rice * (1.0 - moisture) / Profile().sets[kLikely].rice_dry_share);
  recipe.sugar = Grams(sugar);
  if (topping > 0.0) recipe.topping = Grams(topping);
  recipe.sugar_kind = SugarKind::brown;
  recipe.cover = cover;
  recipe.mouth_mm = 110.0;
  recipe.volume_ml = 3800.0;
  recipe.closed = instant_of(kClosed);
  return recipe;
}

// Sleeps well, with sugar on top; and one far too wet that wakes within days.
inline const JarRecipe kGood = jar_of(1200, 0.55, 1320, Cover::kraft, 60);
inline const JarRecipe kWet = jar_of(1200, 0.60, 600, Cover::kraft);

inline const Profile kProfile;
inline const Parameters& kSet = kProfile.sets[kLikely];
inline std::shared_ptr<const Profile> profile() { return std::make_shared<const Profile>(); }

inline Air air(double celsius, double percent) {
  const auto made = Air::of(Celsius(celsius), Percent(percent));
  REQUIRE(made);
  return *made;
}

inline Instant after_days(double days) {
  return instant_of(kClosed + static_cast<std::int64_t>(days * 86400000.0));
}
inline Instant after_hours(double hours) { return after_days(hours / 24.0); }

inline JarModel jar_after(const JarRecipe& recipe, double celsius, double percent, double days) {
  JarModel jar(profile(), recipe);
  jar.step(air(celsius, percent), after_days(days));
  return jar;
}

// A cellar by the minute: a daily swing, a weekly one and noise that repeats.
inline Air cellar_air(std::int64_t minute) {
  const double day = 2.0 * std::numbers::pi * static_cast<double>(minute) / 1440.0;
  const double noise = static_cast<double>((minute * 7919) % 11 - 5) * 0.02;
  return air(20.0 + 4.0 * std::sin(day) + 2.0 * std::sin(day / 7.0) + noise,
             72.0 + 10.0 * std::cos(day) + 5.0 * std::sin(day / 7.0) + 5.0 * noise);
}

// True when one of the verdict's reasons holds these words.
inline bool says(const Verdict& verdict, const std::string& part) {
  return std::any_of(
      verdict.reasons.begin(), verdict.reasons.end(),
      [&](const std::string& reason) { return reason.find(part) != std::string::npos; });
}

}  // namespace torpor::rules::culture::testing
