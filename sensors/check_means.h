// What a sensor is checked with: the vapour over a wet salt, melting ice, or another instrument in
// the same air.
#pragma once

#include <variant>

#include "sensors/salts.h"

namespace torpor {

struct MeltingIce {  // 0 degC
  friend bool operator==(const MeltingIce&, const MeltingIce&) = default;
};

// What another instrument shows of the air that the sensor hangs in. Canonical units.
struct Instrument {
  Quantity quantity = Quantity::temperature;
  double value = 0.0;
  double uncertainty = 0.0;  // of the instrument, one standard deviation
  friend bool operator==(const Instrument&, const Instrument&) = default;
};

using CheckMeans = std::variant<MeltingIce, Salt, Instrument>;

[[nodiscard]] inline const Salt* salt_of(const CheckMeans& means) {
  return std::get_if<Salt>(&means);
}
[[nodiscard]] inline const Instrument* instrument_of(const CheckMeans& means) {
  return std::get_if<Instrument>(&means);
}

}  // namespace torpor
