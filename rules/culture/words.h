// Figures as a keeper says them: round, with the range where there is one.
#pragma once

#include <array>
#include <string>

#include "rules/culture/forecast.h"
#include "rules/culture/verdict.h"

namespace torpor::rules::culture {

// "about 13 g", "about 1.3 kg", "less than 1 g".
[[nodiscard]] std::string gram_words(double grams);
// The same weight of sugar in a kitchen: "3 1/2 cups", "2 tablespoons".
[[nodiscard]] std::string kitchen_words(double grams);
// "about 0.84 (0.83 to 0.86)".
[[nodiscard]] std::string activity_words(const Ensemble& activity);

}  // namespace torpor::rules::culture
