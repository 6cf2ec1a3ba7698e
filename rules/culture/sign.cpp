#include "rules/culture/sign.h"

namespace torpor::rules::culture {
namespace {

// Common practice, no source: in the first two weeks sugar melts, the level sinks and the last easy
// sugar is fermented, so bubbles, gas and a wet look say nothing then. A smell of alcohol or acid,
// a rising level and growth are no part of settling. Mould in colour is all through before it is
// seen, and rot and larvae bring what no sugar stops: that jar is not for use any more.
constexpr SignFacts kSignFacts[kSigns] = {
    {"bubbling", Weight::strong, true, false, true, true},
    {"rising", Weight::strong, false, false, true, true},
    {"sinking", Weight::none, true, false, false, true},
    {"syrup on top", Weight::none, true, false, false, true},
    {"crystals", Weight::none, true, false, false, true},
    {"crust", Weight::none, true, false, false, true},
    {"wet surface", Weight::weak, true, false, false, true},
    {"drops under lid", Weight::none, true, false, false, true},
    {"warm", Weight::weak, true, false, false, true},
    {"pressure", Weight::weak, true, false, true, true},
    {"sweet smell", Weight::none, true, false, false, true},
    {"alcohol smell", Weight::strong, false, false, false, true},
    {"sour smell", Weight::strong, false, false, false, true},
    {"rotten smell", Weight::strong, false, true, false, true},
    {"white growth", Weight::strong, false, false, false, true},
    {"green growth", Weight::strong, false, true, false, true},
    {"black growth", Weight::strong, false, true, false, true},
    {"pink growth", Weight::strong, false, true, false, true},
    {"insects", Weight::none, true, false, false, true},
    {"all well", Weight::none, true, false, false, true},
    {"weight lost that drying cannot explain", Weight::weak, true, false, true, false},
    {"own warmth", Weight::strong, false, false, true, false},
    {"leaking", Weight::weak, true, false, true, true},
    {"cracked", Weight::none, true, false, false, true},
    {"frozen", Weight::none, true, false, false, true},
    {"larvae", Weight::none, true, true, false, true},
};

}  // namespace

const SignFacts& facts(Sign sign) { return kSignFacts[static_cast<std::size_t>(sign)]; }

std::optional<Sign> sign_named(std::string_view name) {
  for (std::size_t i = 0; i < kSigns; ++i) {
    if (kSignFacts[i].by_keeper && kSignFacts[i].name == name) return static_cast<Sign>(i);
  }
  return std::nullopt;
}

}  // namespace torpor::rules::culture
