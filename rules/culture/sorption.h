// Water held by the solids of colonised rice: the GAB isotherm.
#pragma once

#include "rules/culture/profile.h"

namespace torpor::rules::culture {

struct Sorption {
  double water = 0.0;         // g water per g dry solids
  double per_activity = 0.0;  // its slope
};

// Guggenheim-Anderson-de Boer: X = X0 C K a / ((1-Ka)(1-Ka+CKa)). Fitted for .11-.90; above, it is
// carried on and binds too much, which binding_share of a profile's set takes back.
// Precondition: 0 <= activity <= 1.
[[nodiscard]] Sorption sorbed_water(double activity, const Parameters& set);
// The inverse: the activity at which the solids hold `water` g/g; 1 where they could hold no more.
[[nodiscard]] double sorption_activity(double water, const Parameters& set);

}  // namespace torpor::rules::culture
