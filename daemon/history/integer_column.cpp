// column   = same | alphabet | varints
// same     = 0:u8 number:zigzag                          every number is this one
// alphabet = 1:u8 letters-1:u8 { step:zigzag } { place:u8 }
//            letters rise, each a step above the one before (the first above 0); then one place in
//            them a number
// varints  = 2:u8 { number:zigzag }
// zigzag   = varint of 0, -1, 1, -2, 2, ... as 0, 1, 2, 3, 4, ...
// varint   = seven bits a byte, low ones first; the high bit says that more follow (LEB128)
#include "daemon/history/integer_column.h"

#include <algorithm>
#include <bit>

#include "daemon/history/little_endian.h"

namespace torpor::daemon {
namespace {

enum ColumnKind : std::uint8_t { kSame = 0, kAlphabet = 1, kVarints = 2 };  // stored

constexpr std::size_t kMostLetters = 256;

std::uint64_t zigzag_of(std::int64_t number) {
  return (static_cast<std::uint64_t>(number) << 1) ^ static_cast<std::uint64_t>(number >> 63);
}
std::int64_t number_of_zigzag(std::uint64_t zigzag) {
  return static_cast<std::int64_t>((zigzag >> 1) ^ (~(zigzag & 1) + 1));
}
std::int64_t difference(std::int64_t a, std::int64_t b) {
  return static_cast<std::int64_t>(static_cast<std::uint64_t>(a) - static_cast<std::uint64_t>(b));
}
std::int64_t sum(std::int64_t a, std::int64_t b) {
  return static_cast<std::int64_t>(static_cast<std::uint64_t>(a) + static_cast<std::uint64_t>(b));
}

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
  for (const std::int64_t number : numbers) put_zigzag(bytes, number);
  return bytes;
}

std::string in_letters(const std::vector<std::int64_t>& numbers,
                       const std::vector<std::int64_t>& letters) {
  std::string bytes(1, static_cast<char>(letters.size() - 1));
  std::int64_t before = 0;
  for (const std::int64_t letter : letters) {
    put_zigzag(bytes, difference(letter, before));
    before = letter;
  }
  for (const std::int64_t number : numbers) {
    bytes.push_back(static_cast<char>(std::ranges::lower_bound(letters, number) - letters.begin()));
  }
  return bytes;
}

}  // namespace

void put_varint(std::string& bytes, std::uint64_t number) {
  for (; number > 0x7f; number >>= 7) bytes.push_back(static_cast<char>(number | 0x80));
  bytes.push_back(static_cast<char>(number));
}

void put_zigzag(std::string& bytes, std::int64_t number) { put_varint(bytes, zigzag_of(number)); }

void put_column(std::string& bytes, const std::vector<std::int64_t>& numbers) {
  const auto letters = letters_of(numbers);
  if (letters && letters->size() <= 1) {
    bytes.push_back(kSame);
    put_zigzag(bytes, letters->empty() ? 0 : letters->front());
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
  std::uint64_t number = 0;
  for (unsigned shift = 0; shift < 64; shift += 7) {
    const std::uint8_t next = byte();
    const std::uint64_t bits = next & 0x7fu;
    if (shift == 63 && bits > 1) break;
    number |= bits << shift;
    if ((next & 0x80u) == 0) return failed_ ? 0 : number;
  }
  failed_ = true;
  return 0;
}

std::int64_t ColumnReader::zigzag() { return number_of_zigzag(varint()); }

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
      for (std::int64_t& letter : letters) before = letter = sum(before, zigzag());
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
    number = difference(here, before);
    before = here;
  }
}

void from_differences(std::vector<std::int64_t>& numbers) {
  std::int64_t before = 0;
  for (std::int64_t& number : numbers) before = number = sum(before, number);
}

}  // namespace torpor::daemon
