// column   = same | alphabet | varints
// same     = 0:u8 number:zigzag                          every number is this one
// alphabet = 1:u8 letters-1:u8 { step:zigzag } { place:u8 }
//            letters rise, each a step above the one before (the first above 0); then one place in
//            them a number
// varints  = 2:u8 { number:zigzag }
// zigzag, varint: rules/watch/varint.h
#include "daemon/history/integer_column.h"

#include <algorithm>
#include <bit>
#include <span>

#include "daemon/history/little_endian.h"
#include "rules/watch/varint.h"

namespace torpor::daemon {
namespace {

enum ColumnKind : std::uint8_t { kSame = 0, kAlphabet = 1, kVarints = 2 };  // stored

constexpr std::size_t kMostLetters = 256;

// The numbers that occur, rising; nullopt: too many for an alphabet.
std::optional<std::vector<std::int64_t>> letters_of(std::vector<std::int64_t> numbers) {
  std::ranges::sort(numbers);
  const auto rest = std::ranges::unique(numbers);
  numbers.erase(rest.begin(), rest.end());
  if (numbers.size() > kMostLetters) return std::nullopt;
  return numbers;
}

std::string as_varints(const std::vector<std::int64_t>& numbers) {
  std::string bytes;
  for (const std::int64_t number : numbers) rules::put_zigzag(bytes, number);
  return bytes;
}

std::string in_letters(const std::vector<std::int64_t>& numbers,
                       const std::vector<std::int64_t>& letters) {
  std::string bytes(1, static_cast<char>(letters.size() - 1));
  std::int64_t before = 0;
  for (const std::int64_t letter : letters) {
    rules::put_zigzag(bytes, rules::wrapped_difference(letter, before));
    before = letter;
  }
  for (const std::int64_t number : numbers) {
    bytes.push_back(static_cast<char>(std::ranges::lower_bound(letters, number) - letters.begin()));
  }
  return bytes;
}

}  // namespace

void put_column(std::string& bytes, const std::vector<std::int64_t>& numbers) {
  const auto letters = letters_of(numbers);
  if (letters && letters->size() <= 1) {
    bytes.push_back(kSame);
    rules::put_zigzag(bytes, letters->empty() ? 0 : letters->front());
    return;
  }
  const std::string varints = as_varints(numbers);
  if (letters) {
    // As many bytes with one symbol a number compress better than varints of two.
    const std::string spelled = in_letters(numbers, *letters);
    if (spelled.size() <= varints.size()) {
      bytes.push_back(kAlphabet);
      bytes += spelled;
      return;
    }
  }
  bytes.push_back(kVarints);
  bytes += varints;
}

std::uint8_t ColumnReader::byte() {
  if (failed_ || position_ == bytes_.size()) {
    failed_ = true;
    return 0;
  }
  return static_cast<std::uint8_t>(bytes_[position_++]);
}

std::uint64_t ColumnReader::varint() {
  if (failed_) return 0;
  const auto number = rules::take_varint(std::span<const char>(bytes_), position_);
  failed_ = !number;
  return number.value_or(0);
}

std::int64_t ColumnReader::zigzag() { return rules::number_of_zigzag(varint()); }

double ColumnReader::real() {
  if (failed_ || bytes_.size() - position_ < sizeof(std::uint64_t)) {
    failed_ = true;
    return 0.0;
  }
  const auto bits = number_at<std::uint64_t>(bytes_, position_);
  position_ += sizeof(std::uint64_t);
  return std::bit_cast<double>(bits);
}

std::optional<std::vector<std::int64_t>> ColumnReader::column(std::size_t count) {
  std::vector<std::int64_t> numbers;
  const std::uint8_t kind = byte();
  if (kind == kSame) {
    numbers.assign(count, zigzag());
  } else if (kind == kAlphabet || kind == kVarints) {
    // Every number takes a byte at least: bounds what a damaged count can make us reserve.
    if (count > bytes_.size() - position_) return std::nullopt;
    numbers.resize(count);
    std::vector<std::int64_t> letters;
    if (kind == kAlphabet) {
      letters.resize(std::size_t{byte()} + 1);
      std::int64_t before = 0;
      for (std::int64_t& letter : letters) before = letter = rules::wrapped_sum(before, zigzag());
    }
    for (std::int64_t& number : numbers) {
      if (kind == kVarints) {
        number = zigzag();
        continue;
      }
      const std::uint8_t place = byte();
      if (place >= letters.size()) return std::nullopt;
      number = letters[place];
    }
  } else {
    return std::nullopt;
  }
  if (failed_) return std::nullopt;
  return numbers;
}

void to_differences(std::vector<std::int64_t>& numbers) {
  std::int64_t before = 0;
  for (std::int64_t& number : numbers) {
    const std::int64_t here = number;
    number = rules::wrapped_difference(here, before);
    before = here;
  }
}

void from_differences(std::vector<std::int64_t>& numbers) {
  std::int64_t before = 0;
  for (std::int64_t& number : numbers) before = number = rules::wrapped_sum(before, number);
}

}  // namespace torpor::daemon
