// How a sensor stands with its judges, for people: not what the rules compare.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "sensors/calibration.h"

namespace torpor::rules {

struct SensorStanding {
  std::uint16_t doubts = 0;          // sensors/trust.h, combined with |
  std::vector<std::string> reasons;  // one line each: found, expected, what to do
  std::optional<Duration> interval;  // between its messages, as learned; nullopt: too few yet
  std::string check;                 // how its check is going; empty: none waits
  friend bool operator==(const SensorStanding&, const SensorStanding&) = default;
};

}  // namespace torpor::rules
