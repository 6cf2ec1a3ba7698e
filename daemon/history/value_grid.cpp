#include "daemon/history/value_grid.h"

#include <bit>
#include <cmath>

#include "sensors/wide.h"

namespace torpor::daemon {
namespace {

constexpr std::array<std::uint64_t, 16> kPowersOfTen = [] {
  std::array<std::uint64_t, 16> powers{};
  std::uint64_t power = 1;
  for (std::uint64_t& slot : powers) {
    slot = power;
    power *= 10;
  }
  return powers;
}();

// Round half up of size * 10^decimals / divisor.
std::uint64_t scaled_quotient(std::uint64_t size, std::uint32_t divisor, unsigned decimals) {
  const std::uint64_t power = kPowersOfTen[decimals];
  // Nearly always: what a sensor of a cellar sends has few digits, and 64 bits divide faster.
  if (size < (std::uint64_t{1} << 63) / power / 2) {
    return (size * power * 2 + divisor) / (std::uint64_t{2} * divisor);
  }
  return static_cast<std::uint64_t>((Wide{size} * power * 2 + divisor) / (Wide{2} * divisor));
}

// Correctly rounded: digits and power of ten are both below 2^53, and their division is IEEE's.
double in_fifteen_digits(std::uint64_t size, std::uint32_t divisor) {
  unsigned decimals = 15;
  for (std::uint64_t whole = size / divisor; whole > 0 && decimals > 0; whole /= 10) --decimals;
  return static_cast<double>(scaled_quotient(size, divisor, decimals)) /
         static_cast<double>(kPowersOfTen[decimals]);
}

}  // namespace

double ValueGrid::value_of(std::int64_t number) const {
  const std::uint32_t by = kGridDivisors[divisor];
  switch (rounding) {
    case GridRounding::nearest:
      return static_cast<double>(number) / by;
    case GridRounding::fifteen_digits: {
      const auto size = static_cast<std::uint64_t>(number < 0 ? -number : number);
      const double value = in_fifteen_digits(size, by);
      return number < 0 ? -value : value;
    }
    case GridRounding::single:
      return static_cast<double>(static_cast<float>(static_cast<double>(number) / by));
  }
  return 0.0;
}

std::optional<std::int64_t> ValueGrid::number_of(double value) const {
  const double scaled = value * kGridDivisors[divisor];
  if (!(std::abs(scaled) < static_cast<double>(kLargestGridNumber))) return std::nullopt;
  const std::int64_t number = std::llround(scaled);
  const bool same =
      std::bit_cast<std::uint64_t>(value_of(number)) == std::bit_cast<std::uint64_t>(value);
  return same ? std::optional(number) : std::nullopt;
}

}  // namespace torpor::daemon
