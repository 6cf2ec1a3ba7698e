// `torpor air 25C 60%`: what moist air of a temperature and humidity holds. Needs no configuration.
#pragma once

#include <string>

#include "daemon/command/failure.h"
#include "daemon/report/views.h"

namespace torpor::daemon {

struct AirQuestion {
  std::string temperature, humidity, pressure;  // as typed; pressure may be empty
};

// Usage failure: one of them cannot be read, or lies beyond what the formulas are good for.
[[nodiscard]] tl::expected<AirView, Failure> answer_air(const AirQuestion& question);

}  // namespace torpor::daemon
