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
  void add(const MeanKinetic& other);
  // nullopt: nothing added yet.
  [[nodiscard]] std::optional<Celsius> value() const;

  // All that value() follows from, to be stored.
  struct Sums {
    double weighted = 0.0;  // ms * exp(10000 K / 298.15 K - 10000 K / T)
    double time_ms = 0.0;
    friend bool operator==(const Sums&, const Sums&) = default;
  };
  MeanKinetic() = default;
  explicit MeanKinetic(const Sums& sums) : sums_(sums) {}
  [[nodiscard]] const Sums& sums() const { return sums_; }
  friend bool operator==(const MeanKinetic&, const MeanKinetic&) = default;

 private:
  Sums sums_;
};

}  // namespace torpor::daemon
