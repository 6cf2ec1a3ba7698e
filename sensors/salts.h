// Saturated salt solutions and the humidity that air comes to over them in a closed vessel: what a
// humidity sensor is checked against.
#pragma once

#include <optional>
#include <span>
#include <string_view>

#include "sensors/quantity.h"

namespace torpor {

// Stored: do not renumber.
enum class Salt {
  lithium_chloride,
  magnesium_chloride,
  potassium_carbonate,
  table_salt,
  potassium_chloride,
  potassium_nitrate,
  potassium_sulphate,
};

struct SaltFacts {
  Salt salt;
  std::string_view name;     // as told: "table salt"
  std::string_view formula;  // "NaCl"
  double a0, a1, a2, a3;     // % = a0 + a1 t + a2 t^2 + a3 t^3, t in degC
  double coldest, hottest;   // degC, where we use the polynomial
  double uncertainty;        // %, at 25 degC
  std::string_view caution;  // for who handles it; empty: a kitchen's salt (common practice)
};

// Greenspan, L., 1977: Humidity fixed points of binary saturated aqueous solutions. J. Res. Natl.
// Bur. Stand. 81A, 89-96.
[[nodiscard]] std::span<const SaltFacts> salts();
[[nodiscard]] const SaltFacts& facts(Salt salt);
// By name or formula, whatever the case of its letters.
[[nodiscard]] std::optional<Salt> salt_named(std::string_view name);
// Nullopt outside the range of temperature.
[[nodiscard]] std::optional<Percent> humidity_over(Salt salt, Celsius temperature);

}  // namespace torpor
