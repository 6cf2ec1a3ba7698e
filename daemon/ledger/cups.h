// Kitchen cups as weights. A cup holds what it holds: every weight is a middle with its range, and
// the answer says so.
#pragma once

#include <string>

#include "sensors/quantity.h"

namespace torpor::daemon {

enum class Substance { sugar, raw_rice, rice, contents };

struct CupWeight {  // g in one US cup (236.6 ml), levelled
  double least = 0.0, middle = 0.0, most = 0.0;
};
[[nodiscard]] CupWeight cup_weight(Substance substance);
// "2 cups of sugar are taken as 400 g (380 to 440 g); a scale knows better".
[[nodiscard]] std::string cups_note(double cups, Substance substance);

}  // namespace torpor::daemon
