// Small numbers in words, as a phone writes down what was dictated: "three", "twenty five", "two
// hundred and ten", "half a", "one and a half". English only, like the sentences.
#pragma once

#include <optional>
#include <span>
#include <string_view>

namespace torpor::daemon {

struct SpokenNumber {
  double value = 0.0;     // 0 to 999.5
  std::size_t words = 0;  // how many of the words it took
};
// The number that the first of `words` say; nullopt: they say none. Words of another meaning behind
// it are left alone: "two and" is two.
[[nodiscard]] std::optional<SpokenNumber> spoken_number(std::span<const std::string_view> words);

}  // namespace torpor::daemon
