// Plain values to bytes and back, in one fixed order. Little-endian, fixed widths; a file written
// on one machine reads on another. Not a format to read by eye: see the version in
// jar_snapshot.cpp.
#pragma once

#include <bit>
#include <cstdint>
#include <cstring>
#include <string>
#include <string_view>
#include <type_traits>

#include "rules/culture/mouth.h"
#include "sensors/reading.h"

namespace torpor::rules::culture {

template <class T>
[[nodiscard]] std::uint64_t to_word(const T& value) {
  if constexpr (std::is_same_v<T, double>) {
    return std::bit_cast<std::uint64_t>(value);
  } else if constexpr (std::is_same_v<T, float>) {
    return std::bit_cast<std::uint32_t>(value);
  } else if constexpr (std::is_same_v<T, Instant>) {
    return static_cast<std::uint64_t>(unix_ms(value));
  } else {
    return static_cast<std::uint64_t>(value);
  }
}

template <class T>
void from_word(std::uint64_t word, T& value) {
  if constexpr (std::is_same_v<T, double>) {
    value = std::bit_cast<double>(word);
  } else if constexpr (std::is_same_v<T, float>) {
    value = std::bit_cast<float>(static_cast<std::uint32_t>(word));
  } else if constexpr (std::is_same_v<T, Instant>) {
    value = instant_of(static_cast<std::int64_t>(word));
  } else if constexpr (std::is_same_v<T, bool>) {
    value = word != 0;
  } else {
    value = static_cast<T>(word);
  }
}

// Bytes a value takes: 1 for bool and small enums, 4 for float, else 8.
template <class T>
inline constexpr std::size_t kWidth = sizeof(T) == 1   ? 1
                                      : sizeof(T) == 4 ? 4
                                                       : 8;

class Writer {
 public:
  template <class T>
  void operator()(const T& value) {
    const std::uint64_t word = to_word(value);
    for (std::size_t i = 0; i < kWidth<T>; ++i) {
      bytes_.push_back(static_cast<char>((word >> (8 * i)) & 0xFF));
    }
  }
  [[nodiscard]] std::string take() { return std::move(bytes_); }

 private:
  std::string bytes_;
};

// Past the end it gives zeros and says so.
class Cursor {
 public:
  explicit Cursor(std::string_view bytes) : bytes_(bytes) {}
  template <class T>
  void operator()(T& value) {
    std::uint64_t word = 0;
    if (bytes_.size() - at_ < kWidth<T>) {
      complete_ = false;
      at_ = bytes_.size();
    } else {
      for (std::size_t i = 0; i < kWidth<T>; ++i) {
        word |= static_cast<std::uint64_t>(static_cast<unsigned char>(bytes_[at_ + i])) << (8 * i);
      }
      at_ += kWidth<T>;
    }
    from_word(word, value);
  }
  // Everything was there and nothing is left over.
  [[nodiscard]] bool complete() const { return complete_ && at_ == bytes_.size(); }

 private:
  std::string_view bytes_;
  std::size_t at_ = 0;
  bool complete_ = true;
};

}  // namespace torpor::rules::culture
