// Mean kinetic temperature: the constant temperature that does as much chemical harm as the varying
// one did. It summarises heat; it is no measure of growth.
#pragma once

#include <optional>

#include "sensors/reading.h"

namespace torpor::daemon {

// Time-weighted, USP <1160>: T = (dH/R) / -ln(sum w exp(-dH/(R Ti)) / sum w), in kelvin. With
// dH = 83.144 kJ/mol and R = 8.3144 J/(mol K), dH/R is 10000 K exactly.
class MeanKinetic {
 public:
  // `time` longer than zero counts; anything else is ignored.
  void add(Celsius temperature, Duration time);
  // nullopt: nothing added yet.
  [[nodiscard]] std::optional<Celsius> value() const;

 private:
  double weighted_ = 0.0;  // sum of ms * exp(10000 K / reference - 10000 K / T)
  double time_ms_ = 0.0;
};

}  // namespace torpor::daemon
