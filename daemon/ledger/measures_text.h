// Amounts as people write them: "1200 g", "1200g", "2 lb 10 oz", "3,8 l", "11 cm". Reads words, not
// sentences; the sentence says which dimension it wants.
#pragma once

#include <span>
#include <string>
#include <string_view>

#include <tl/expected.hpp>

namespace torpor::daemon {

enum class Dimension { mass, volume, length, duration, humidity };

// "weight", "volume", "length", "time", "humidity".
[[nodiscard]] std::string_view dimension_name(Dimension dimension);
// The units understood, for refusals: "g, kg, oz, lb".
[[nodiscard]] std::string_view unit_list(Dimension dimension);

struct Measured {
  double value = 0.0;     // g, ml, mm, h or %: finite, not negative
  std::size_t words = 0;  // how many of the words it took
};

// The amount that the first of `words` begin. Gallon and quart are the US liquid ones, pound and
// ounce avoirdupois. Error: one clause that says what was found and what was expected.
[[nodiscard]] tl::expected<Measured, std::string> read_measure(
    std::span<const std::string_view> words, Dimension dimension);

// A plain decimal number with at most one point or comma, not negative, under 1e9. A comma before
// exactly three digits is refused where it could part thousands: "1,250", but not "0,250".
[[nodiscard]] tl::expected<double, std::string> read_number(std::string_view text);

}  // namespace torpor::daemon
