// A column of whole numbers as bytes, for the compressor that follows: one number for all, or each
// by its place in an alphabet of the few that occur, or varints. Layout at the top of
// integer_column.cpp.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace torpor::daemon {

// Reads a block's bytes and never past them; after the first failure everything is zero.
class ColumnReader {
 public:
  explicit ColumnReader(std::string_view bytes) : bytes_(bytes) {}
  [[nodiscard]] std::uint8_t byte();
  [[nodiscard]] std::uint64_t varint();
  [[nodiscard]] std::int64_t zigzag();
  [[nodiscard]] double real();  // 8 bytes, little-endian
  // Exactly `count` numbers; nullopt: the bytes are no such column.
  [[nodiscard]] std::optional<std::vector<std::int64_t>> column(std::size_t count);
  [[nodiscard]] bool failed() const { return failed_; }
  [[nodiscard]] bool finished() const { return !failed_ && position_ == bytes_.size(); }

 private:
  std::string_view bytes_;
  std::size_t position_ = 0;
  bool failed_ = false;
};

void put_column(std::string& bytes, const std::vector<std::int64_t>& numbers);

// Differences wrap as unsigned numbers do: any series comes back.
void to_differences(std::vector<std::int64_t>& numbers);
void from_differences(std::vector<std::int64_t>& numbers);

}  // namespace torpor::daemon
