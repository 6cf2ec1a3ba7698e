// Whether a sensor is heard and believed, in words for people.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "daemon/report/views.h"

namespace torpor::daemon {

// "believed", "believed, with a doubt", "not believed", "in a check", "silent", "never heard" or
// "not configured".
[[nodiscard]] std::string_view trust_state(const SensorView& view);
// Why, one sentence each: what was found, what was expected, what to do. Of one that lies in a
// check: how that goes. Empty: there is no doubt.
[[nodiscard]] std::vector<std::string> trust_reasons(const SensorView& view);

}  // namespace torpor::daemon
