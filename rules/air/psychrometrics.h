// Moist air over liquid water, -20 to 60 degC: vapour pressure, dew point, absolute humidity.
// Pure functions of their arguments. Saturation pressure by Sonntag 1990; measured residuals:
// 0.003 % of Wagner and Pruss 1993 (IAPWS) from 0 to 60 degC, 0.07 % of Murphy and Koop 2005 over
// supercooled water from -20 to 0 degC. Air counts as a perfect gas, as sensors and handbooks take
// it: real air holds about 0.4 % more. Outside the range all stays smooth and monotonic.
#pragma once

#include "sensors/quantity.h"

namespace torpor::rules::air {

// 0 degC in kelvin, by the definition of the Celsius scale.
inline constexpr double kZeroCelsius = 273.15;
// Total pressure of the standard atmosphere.
inline constexpr Pascal kStandardPressure{101325.0};

// Saturation vapour pressure over liquid water (supercooled below 0 degC).
[[nodiscard]] Pascal saturation_vapour_pressure(Celsius temperature);
// Vapour pressure of air at a temperature and relative humidity (over water).
[[nodiscard]] Pascal vapour_pressure(Celsius temperature, Percent humidity);
// Temperature at which that vapour pressure saturates: the inverse of saturation_vapour_pressure,
// to 1e-10 K. Over water also below 0 degC; frost forms on ice a little above it.
// Precondition: pressure > 0 (0 % humidity has no dew point; see the callers' optional).
[[nodiscard]] Celsius dew_point(Pascal vapour_pressure);
[[nodiscard]] GramsPerCubicMetre absolute_humidity(Celsius temperature, Pascal vapour_pressure);
// kg water per kg dry air. Precondition: vapour_pressure < total, as in all air up to 60 degC.
[[nodiscard]] HumidityRatio humidity_ratio(Pascal vapour_pressure,
                                           Pascal total = kStandardPressure);
// Relative humidity of air with this vapour pressure, brought to this temperature.
[[nodiscard]] Percent relative_humidity(Celsius temperature, Pascal vapour_pressure);

}  // namespace torpor::rules::air
