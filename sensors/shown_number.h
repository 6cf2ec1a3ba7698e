// A number for people, whoever it comes from: a device or a file can name any, and 1e308 has 309
// digits. For sentences and tables; what programs read keeps every digit.
#pragma once

#include <fmt/format.h>

#include <cmath>
#include <string>

namespace torpor {

// With so many decimals; from a thousand million on as "1e+308".
[[nodiscard]] inline std::string shown_number(double value, int decimals) {
  constexpr double kNothingWeighsSoMuch = 1e9;
  return std::abs(value) < kNothingWeighsSoMuch ? fmt::format("{:.{}f}", value, decimals)
                                                : fmt::format("{:.3g}", value);
}

}  // namespace torpor
