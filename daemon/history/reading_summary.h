// What can be said of a stretch of readings without reading them again: how many, their ends and
// their extremes. Values are in the quantity's canonical unit and of trusted readings only.
#pragma once

#include <cstdint>
#include <optional>

#include "sensors/reading.h"

namespace torpor::daemon {

struct ReadingSummary {
  struct Extreme {
    double value = 0.0;
    Instant at;
    friend bool operator==(const Extreme&, const Extreme&) = default;
  };
  std::uint64_t readings = 0;
  std::uint64_t trusted = 0;
  double sum = 0.0;                                      // of the trusted
  std::optional<Extreme> first, last, lowest, highest;   // nullopt: none is trusted
  std::optional<Instant> first_measured, last_measured;  // trusted or not

  // In order of measured-at.
  void add(const Reading& reading);
  void add(const ReadingSummary& later);
  friend bool operator==(const ReadingSummary&, const ReadingSummary&) = default;
};

}  // namespace torpor::daemon
