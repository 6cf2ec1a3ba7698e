// Reads a snapshot's JSON as what a damaged disk may have made of it: a number that is not whole,
// an enumerator that there is not, a time that no clock shows end in std::out_of_range.
#pragma once

#include <concepts>
#include <cstdint>
#include <stdexcept>
#include <utility>

#include <nlohmann/json.hpp>

#include "rules/watch/watch.h"
#include "sensors/salts.h"

namespace torpor::rules {

template <std::integral Whole>
[[nodiscard]] Whole whole_from(const nlohmann::json& j) {
  const auto fitting = [](auto value) {
    if (!std::in_range<Whole>(value)) throw std::out_of_range("number");
    return static_cast<Whole>(value);
  };
  if (j.is_number_unsigned()) return fitting(j.get<std::uint64_t>());
  if (j.is_number_integer()) return fitting(j.get<std::int64_t>());
  throw std::out_of_range("number");
}

// Of `first`, `first` + 1, ... `last`.
template <class Kind>
[[nodiscard]] Kind enum_from(const nlohmann::json& j, Kind first, Kind last) {
  const int value = whole_from<int>(j);
  if (value < static_cast<int>(first) || value > static_cast<int>(last)) {
    throw std::out_of_range("kind");
  }
  return static_cast<Kind>(value);
}
[[nodiscard]] inline Quantity quantity_from(const nlohmann::json& j) {
  return enum_from(j, Quantity::temperature, Quantity::battery);
}

// Far beyond any that is meant, and none of them can overflow a sum of a few.
inline constexpr std::int64_t kLongestSavedTime = std::int64_t{1} << 60;  // ms
[[nodiscard]] inline Instant instant_from(const nlohmann::json& j) {
  const auto ms = whole_from<std::int64_t>(j);
  if (ms < -kLongestSavedTime || ms > kLongestSavedTime) throw std::out_of_range("time");
  return instant_of(ms);
}
// Where `mark`, kAlways or kNever, says that there is none.
[[nodiscard]] inline Instant instant_or(Instant mark, const nlohmann::json& j) {
  return j == unix_ms(mark) ? mark : instant_from(j);
}
[[nodiscard]] inline Duration duration_from(const nlohmann::json& j) {
  const auto ms = whole_from<std::int64_t>(j);
  if (ms < -kLongestSavedTime || ms > kLongestSavedTime) throw std::out_of_range("span");
  return Duration(ms);
}

}  // namespace torpor::rules
