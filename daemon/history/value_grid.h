// Doubles as whole numbers on a grid, exactly. Sensors send short decimals (21.5), means of a few
// of them (21.366666666666667, or 21.3666666666667 from a program that prints 15 digits) and
// decimals that went through a 32-bit float (21.700000762939453). All of these are n / divisor,
// rounded in one of three ways; whoever encodes checks that the very same bits come back.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

namespace torpor::daemon {

// How n / divisor becomes a double. Stored: do not renumber.
enum class GridRounding : std::uint8_t {
  nearest = 0,         // the nearest double
  fifteen_digits = 1,  // the double nearest to the quotient in 15 significant decimal digits
  single = 2,          // the nearest 32-bit float
};

// Stored by position: do not reorder, only append. Powers of ten are decimals; six times those are
// means of up to six values of one decimal less.
inline constexpr std::array<std::uint32_t, 14> kGridDivisors = {
    1, 10, 100, 1'000, 10'000, 100'000, 1'000'000,  // decimals
    6, 60, 600, 6'000, 60'000, 600'000, 6'000'000,  // means of decimals
};

inline constexpr std::uint8_t kFirstMeansDivisor = 7;

struct ValueGrid {
  std::uint8_t divisor = 0;  // position in kGridDivisors
  GridRounding rounding = GridRounding::nearest;

  // The number whose value_of() is bit for bit `value`; nullopt: there is none on this grid.
  [[nodiscard]] std::optional<std::int64_t> number_of(double value) const;
  // Precondition: |number| < 2^53.
  [[nodiscard]] double value_of(std::int64_t number) const;
  friend bool operator==(const ValueGrid&, const ValueGrid&) = default;
};

// Whole numbers up to here, and no further, are doubles without a gap.
inline constexpr std::int64_t kLargestGridNumber = (std::int64_t{1} << 53) - 1;

}  // namespace torpor::daemon
