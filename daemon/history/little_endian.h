// Numbers and texts as little-endian bytes, one after another: the alphabet of the inbox's format.
// The reader never looks past the end: it fails once and stays failed, so that a decoder reads all
// its fields and asks once.
#pragma once

#include <bit>
#include <concepts>
#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

namespace torpor::daemon {

template <std::unsigned_integral Number>
void put_number(std::string& bytes, Number number) {
  for (std::size_t i = 0; i < sizeof(Number); ++i) {
    bytes.push_back(static_cast<char>(static_cast<std::uint8_t>(number >> (8 * i))));
  }
}

// Overwrites the bytes at `offset`. Precondition: they exist.
template <std::unsigned_integral Number>
void patch_number(std::string& bytes, std::size_t offset, Number number) {
  for (std::size_t i = 0; i < sizeof(Number); ++i) {
    bytes[offset + i] = static_cast<char>(static_cast<std::uint8_t>(number >> (8 * i)));
  }
}

// Precondition: at least sizeof(Number) bytes at `offset`.
template <std::unsigned_integral Number>
[[nodiscard]] Number number_at(std::string_view bytes, std::size_t offset) {
  Number number = 0;
  for (std::size_t i = 0; i < sizeof(Number); ++i) {
    const auto byte = static_cast<std::uint8_t>(bytes[offset + i]);
    number = static_cast<Number>(number | static_cast<Number>(Number{byte} << (8 * i)));
  }
  return number;
}

inline void put_signed(std::string& bytes, std::int64_t number) {
  put_number(bytes, static_cast<std::uint64_t>(number));
}
inline void put_double(std::string& bytes, double number) {
  put_number(bytes, std::bit_cast<std::uint64_t>(number));
}
// A u32 length, then the bytes. Precondition: shorter than 4 GiB.
inline void put_text(std::string& bytes, std::string_view text) {
  put_number(bytes, static_cast<std::uint32_t>(text.size()));
  bytes.append(text);
}

class ByteReader {
 public:
  explicit ByteReader(std::string_view bytes) : bytes_(bytes) {}

  // Zero once the bytes have run out.
  template <std::unsigned_integral Number>
  [[nodiscard]] Number number() {
    if (!has(sizeof(Number))) return 0;
    const Number number = number_at<Number>(bytes_, position_);
    position_ += sizeof(Number);
    return number;
  }
  [[nodiscard]] std::int64_t signed_number() {
    return static_cast<std::int64_t>(number<std::uint64_t>());
  }
  [[nodiscard]] double real() { return std::bit_cast<double>(number<std::uint64_t>()); }
  [[nodiscard]] std::string text() {
    const std::size_t size = number<std::uint32_t>();
    if (!has(size)) return {};
    std::string text(bytes_.substr(position_, size));
    position_ += size;
    return text;
  }
  [[nodiscard]] std::size_t left() const { return bytes_.size() - position_; }
  [[nodiscard]] bool failed() const { return failed_; }
  // Everything was there and nothing is left over.
  [[nodiscard]] bool finished() const { return !failed_ && left() == 0; }

 private:
  [[nodiscard]] bool has(std::size_t size) {
    if (failed_ || left() < size) failed_ = true;
    return !failed_;
  }

  std::string_view bytes_;
  std::size_t position_ = 0;
  bool failed_ = false;
};

}  // namespace torpor::daemon
