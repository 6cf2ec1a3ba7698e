// Sugar in water: how much dissolves, and the water activity of the solution. Pure functions.
#pragma once

#include "rules/culture/profile.h"
#include "sensors/quantity.h"

namespace torpor::rules::culture {

// Molar masses, g/mol (IUPAC 2021 atomic weights, rounded).
inline constexpr double kMolarWater = 18.01528;
inline constexpr double kMolarSucrose = 342.297;
inline constexpr double kMolarHexose = 180.156;      // glucose, fructose: invert
inline constexpr double kMolarStarchUnit = 162.141;  // one glucose in a chain

// Saturated sucrose solution, g sucrose per 100 g solution. Vavrinecz 1962 as in ICUMSA tables
// (from memory); 0-100 degC. Other tables differ by up to 0.4 at 20 degC.
[[nodiscard]] double sucrose_solubility_percent(Celsius temperature);
// The same as g sucrose per g water.
[[nodiscard]] double sucrose_per_water(Celsius temperature);

// Norrish 1966, J. Food Technol. 1:25, for mixed sugars:
//   a = x_w exp(-(sqrt(K_s) x_s + sqrt(K_i) x_i)^2),  x mole fractions,
// with the derivative by the amount of water, everything else fixed.
struct SolutionActivity {
  double activity = 1.0;
  double per_mol_water = 0.0;  // d activity / d mol water
};
// Amounts in mol, water > 0.
[[nodiscard]] SolutionActivity solution_activity(double water, double sucrose, double invert,
                                                 double root_k_sucrose, double root_k_invert);
// While undissolved sucrose keeps the solution saturated: dissolved = ratio x water (mol/mol).
[[nodiscard]] SolutionActivity saturated_activity(double water, double sucrose_per_water,
                                                  double invert, double root_k_sucrose,
                                                  double root_k_invert);

// What sugar is made of, mass shares; the rest is inert.
enum class SugarKind { white, brown, raw };
struct SugarMakeup {
  double water = 0.0, sucrose = 0.0, invert = 0.0;
};
[[nodiscard]] SugarMakeup makeup(SugarKind kind, const Parameters& set);

}  // namespace torpor::rules::culture
