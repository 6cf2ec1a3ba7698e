#include "rules/culture/sign.h"

namespace torpor::rules::culture {
namespace {

// Common practice, no source: in the first two weeks sugar melts, the level sinks and the last easy
// sugar is fermented, so bubbles, gas and a wet look say nothing then. A smell of alcohol or acid,
// a rising level and growth are no part of settling.
constexpr SignFacts kSignFacts[kSigns] = {
    {"bubbling", Weight::strong, true, false},
    {"rising", Weight::strong, false, false},
    {"sinking", Weight::none, true, false},
    {"syrup on top", Weight::none, true, false},
    {"crystals", Weight::none, true, false},
    {"crust", Weight::none, true, false},
    {"wet surface", Weight::weak, true, false},
    {"drops under lid", Weight::none, true, false},
    {"warm", Weight::weak, true, false},
    {"pressure", Weight::weak, true, false},
    {"sweet smell", Weight::none, true, false},
    {"alcohol smell", Weight::strong, false, false},
    {"sour smell", Weight::strong, false, false},
    {"rotten smell", Weight::strong, false, true},
    {"white growth", Weight::strong, false, false},
    {"green growth", Weight::strong, false, true},
    {"black growth", Weight::strong, false, true},
    {"pink growth", Weight::strong, false, true},
    {"insects", Weight::none, true, false},
    {"all well", Weight::none, true, false},
    {"weight lost that drying cannot explain", Weight::weak, true, false},
    {"own warmth", Weight::strong, false, false},
};
constexpr std::size_t kTold = static_cast<std::size_t>(Sign::gas_loss);

}  // namespace

const SignFacts& facts(Sign sign) { return kSignFacts[static_cast<std::size_t>(sign)]; }

std::optional<Sign> sign_named(std::string_view name) {
  for (std::size_t i = 0; i < kTold; ++i) {
    if (kSignFacts[i].name == name) return static_cast<Sign>(i);
  }
  return std::nullopt;
}

}  // namespace torpor::rules::culture
