// Whole numbers as bytes, small ones in few. Stored: both formats that use it (the engine's
// snapshot, the history's day blocks) read what every version wrote.
//
//   varint = seven bits a byte, low ones first; the high bit says that more follow (LEB128)
//   zigzag = varint of 0, -1, 1, -2, 2, ... as 0, 1, 2, 3, 4, ...
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

namespace torpor::rules {

[[nodiscard]] inline std::uint64_t zigzag_of(std::int64_t number) {
  return (static_cast<std::uint64_t>(number) << 1) ^ static_cast<std::uint64_t>(number >> 63);
}
[[nodiscard]] inline std::int64_t number_of_zigzag(std::uint64_t zigzag) {
  return static_cast<std::int64_t>((zigzag >> 1) ^ (~(zigzag & 1) + 1));
}

// `bytes`: a string or a vector of bytes, which is appended to.
template <class Bytes>
void put_varint(Bytes& bytes, std::uint64_t number) {
  using Byte = typename Bytes::value_type;
  for (; number > 0x7F; number >>= 7) bytes.push_back(static_cast<Byte>(number | 0x80));
  bytes.push_back(static_cast<Byte>(number));
}
template <class Bytes>
void put_zigzag(Bytes& bytes, std::int64_t number) {
  put_varint(bytes, zigzag_of(number));
}

// Reads at `at` and moves past it. nullopt: the bytes end in it, or it has more than 64 bits.
template <class Byte>
[[nodiscard]] std::optional<std::uint64_t> take_varint(std::span<const Byte> bytes,
                                                       std::size_t& at) {
  std::uint64_t number = 0;
  for (unsigned shift = 0; shift < 64 && at < bytes.size(); shift += 7) {
    const auto next = static_cast<std::uint8_t>(bytes[at++]);
    const std::uint64_t bits = next & 0x7FU;
    if (shift == 63 && bits > 1) break;
    number |= bits << shift;
    if ((next & 0x80U) == 0) return number;
  }
  return std::nullopt;
}

// Differences that wrap as unsigned numbers do: any series comes back.
[[nodiscard]] inline std::int64_t wrapped_difference(std::int64_t a, std::int64_t b) {
  return static_cast<std::int64_t>(static_cast<std::uint64_t>(a) - static_cast<std::uint64_t>(b));
}
[[nodiscard]] inline std::int64_t wrapped_sum(std::int64_t a, std::int64_t b) {
  return static_cast<std::int64_t>(static_cast<std::uint64_t>(a) + static_cast<std::uint64_t>(b));
}

}  // namespace torpor::rules
