#include "daemon/command/arguments.h"

#include <fmt/format.h>

#include <array>
#include <charconv>
#include <cmath>
#include <optional>
#include <utility>

#include "daemon/report/printable.h"

namespace torpor::daemon {
namespace {

struct Typed {
  double number = 0.0;
  std::string_view unit;  // without blanks around it
};

std::string_view without_blanks(std::string_view text) {
  while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  while (!text.empty() && text.back() == ' ') text.remove_suffix(1);
  return text;
}

// A number and what follows it; nullopt: no finite number at the start.
std::optional<Typed> read_typed(std::string_view text) {
  text = without_blanks(text);
  if (text.starts_with('+')) text.remove_prefix(1);
  Typed typed;
  const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), typed.number);
  if (fault != std::errc() || !std::isfinite(typed.number)) return std::nullopt;
  typed.unit = without_blanks(text.substr(static_cast<std::size_t>(end - text.data())));
  return typed;
}

tl::unexpected<std::string> refuse(std::string_view text, std::string_view expected) {
  return tl::unexpected(fmt::format("'{}' is not {}", printable(text), expected));
}

template <std::size_t N>
std::optional<double> factor_of(const std::array<std::pair<std::string_view, double>, N>& units,
                                std::string_view unit) {
  for (const auto& [name, factor] : units) {
    if (name == unit) return factor;
  }
  return std::nullopt;
}

}  // namespace

tl::expected<Celsius, std::string> read_temperature(std::string_view text) {
  constexpr std::string_view kExpected = "a temperature with its unit, such as 25C, 77F or 298.15K";
  const auto typed = read_typed(text);
  if (!typed) return refuse(text, kExpected);
  const auto unit = unit_named(typed->unit);
  if (!unit || !measures(*unit, Quantity::temperature)) return refuse(text, kExpected);
  return Celsius(to_canonical(typed->number, *unit));
}

tl::expected<Percent, std::string> read_humidity(std::string_view text) {
  constexpr std::string_view kExpected = "a relative humidity from 0 to 100 %, such as 60%";
  const auto typed = read_typed(text);
  if (!typed || typed->number < 0.0 || typed->number > 100.0) return refuse(text, kExpected);
  if (!typed->unit.empty() && unit_named(typed->unit) != Unit::percent) {
    return refuse(text, kExpected);
  }
  return Percent(typed->number);
}

tl::expected<Pascal, std::string> read_pressure(std::string_view text) {
  static constexpr std::array<std::pair<std::string_view, double>, 4> kUnits = {
      {{"", 1.0}, {"Pa", 1.0}, {"hPa", 100.0}, {"kPa", 1000.0}}};
  constexpr std::string_view kExpected = "an air pressure, such as 101325, 950hPa or 95kPa";
  const auto typed = read_typed(text);
  const auto factor = typed ? factor_of(kUnits, typed->unit) : std::nullopt;
  if (!factor || typed->number <= 0.0) return refuse(text, kExpected);
  return Pascal(typed->number * *factor);
}

tl::expected<Grams, std::string> read_weight(std::string_view text) {
  static constexpr std::array<std::pair<std::string_view, double>, 4> kUnits = {
      {{"g", 1.0}, {"kg", 1000.0}, {"oz", 28.349523125}, {"lb", 453.59237}}};
  constexpr std::string_view kExpected =
      "a weight of 0 or more with its unit g, kg, oz or lb, such as 560g";
  const auto typed = read_typed(text);
  const auto factor = typed ? factor_of(kUnits, typed->unit) : std::nullopt;
  if (!factor || typed->number < 0.0) return refuse(text, kExpected);
  return Grams(typed->number * *factor);
}

tl::expected<Duration, std::string> read_duration(std::string_view text) {
  static constexpr std::array<std::pair<std::string_view, double>, 4> kUnits = {
      {{"s", 1e3}, {"min", 6e4}, {"h", 3.6e6}, {"d", 8.64e7}}};
  constexpr double kShortestMs = 1e3, kLongestMs = 3650 * 8.64e7;
  constexpr std::string_view kExpected =
      "a duration from 1 s to 3650 d with its unit s, min, h or d, such as 15min";
  const auto typed = read_typed(text);
  const auto factor = typed ? factor_of(kUnits, typed->unit) : std::nullopt;
  if (!factor) return refuse(text, kExpected);
  const double ms = typed->number * *factor;
  if (ms < kShortestMs || ms > kLongestMs) return refuse(text, kExpected);
  return Duration(std::llround(ms));
}

}  // namespace torpor::daemon
