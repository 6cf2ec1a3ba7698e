// Moist air over water, -20 to 60 degC. Pure functions of their arguments.
#pragma once

#include "sensors/quantity.h"

namespace torpor::rules::air {

// Total pressure of the standard atmosphere.
inline constexpr Pascal kStandardPressure{101325.0};

// Saturation vapour pressure over liquid water (supercooled below 0 degC).
[[nodiscard]] Pascal saturation_vapour_pressure(Celsius temperature);
// Vapour pressure of air at a temperature and relative humidity (over water).
[[nodiscard]] Pascal vapour_pressure(Celsius temperature, Percent humidity);
// Temperature at which that vapour pressure saturates: the inverse of saturation_vapour_pressure.
// Precondition: pressure > 0 (0 % humidity has no dew point; see the callers' optional).
[[nodiscard]] Celsius dew_point(Pascal vapour_pressure);
[[nodiscard]] GramsPerCubicMetre absolute_humidity(Celsius temperature, Pascal vapour_pressure);
// kg water per kg dry air.
[[nodiscard]] HumidityRatio humidity_ratio(Pascal vapour_pressure,
                                           Pascal total = kStandardPressure);
// Relative humidity of air with this vapour pressure, brought to this temperature.
[[nodiscard]] Percent relative_humidity(Celsius temperature, Pascal vapour_pressure);

}  // namespace torpor::rules::air
