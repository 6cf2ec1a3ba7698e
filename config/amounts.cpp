#include "config/amounts.h"

#include <fmt/core.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <vector>

#include "config/shown_text.h"
#include "config/yaml_reader.h"
#include "sensors/trimmed.h"

namespace torpor::config {
namespace {

struct UnitFactor {
  std::string_view name;
  double factor;
  bool listed;  // shown when the unit is not known; the others are spellings of it
};

constexpr UnitFactor kMilliseconds[] = {
    {"s", 1e3, true},        {"sec", 1e3, false}, {"second", 1e3, false},
    {"seconds", 1e3, false}, {"min", 6e4, true},  {"minute", 6e4, false},
    {"minutes", 6e4, false}, {"h", 3.6e6, true},  {"hour", 3.6e6, false},
    {"hours", 3.6e6, false}, {"d", 8.64e7, true}, {"day", 8.64e7, false},
    {"days", 8.64e7, false}};
constexpr UnitFactor kYears[] = {{"y", 1.0, true}, {"year", 1.0, false}, {"years", 1.0, false}};
constexpr UnitFactor kVolts[] = {{"V", 1.0, true}, {"mV", 1e-3, true}};
constexpr UnitFactor kCubicMetres[] = {
    {"m3", 1.0, true}, {"m³", 1.0, true}, {"l", 1e-3, true}, {"L", 1e-3, false}};

// The amount in the table's base unit. `kind` is "a duration", `example` how one is written.
template <std::size_t N>
tl::expected<double, std::string> parse_amount(std::string_view text, const UnitFactor (&units)[N],
                                               std::string_view kind, std::string_view example) {
  const std::string_view body = trimmed(text, " ");
  double number = 0.0;
  const auto [end, error] = std::from_chars(body.data(), body.data() + body.size(), number);
  if (error != std::errc() || !std::isfinite(number)) {
    return tl::make_unexpected(
        fmt::format("found {}; expected {} such as {}", quoted(text), kind, example));
  }
  const std::string_view unit =
      trimmed(body.substr(static_cast<std::size_t>(end - body.data())), " ");
  std::vector<std::string> listed;
  for (const UnitFactor& candidate : units) {
    if (candidate.name == unit) return number * candidate.factor;
    if (candidate.listed) listed.emplace_back(candidate.name);
  }
  if (unit.empty()) {
    return tl::make_unexpected(fmt::format("found {}, which has no unit; expected {} such as {}",
                                           quoted(text), kind, example));
  }
  return tl::make_unexpected(fmt::format("found {}; {} is not a unit here, write {}", quoted(text),
                                         quoted(unit), in_words(listed)));
}

}  // namespace

tl::expected<Duration, std::string> parse_duration(std::string_view text) {
  const auto amount = parse_amount(text, kMilliseconds, "a duration", "`60 s`, `30 min` or `2 h`");
  if (!amount) return tl::make_unexpected(amount.error());
  if (*amount < 0.5) {
    return tl::make_unexpected(
        fmt::format("found {}; expected a duration of more than zero", quoted(text)));
  }
  if (*amount > static_cast<double>(kLongestDuration.count())) {
    return tl::make_unexpected(fmt::format("found {}; expected at most 366 d", quoted(text)));
  }
  return Duration(std::llround(*amount));
}

tl::expected<Duration, std::string> parse_years(std::string_view text) {
  const auto years = parse_amount(text, kYears, "years", "`5 y`");
  if (!years) return tl::make_unexpected(years.error());
  if (*years < kFewestYears || *years > kMostYears) {
    return tl::make_unexpected(
        fmt::format("found {}; expected {} y to {} y", quoted(text), kFewestYears, kMostYears));
  }
  constexpr double kYearMs = 365.25 * 8.64e7;
  return Duration(std::llround(*years * kYearMs));
}

tl::expected<double, std::string> parse_volume_m3(std::string_view text) {
  constexpr double kLargest = 1e6;  // larger than any building
  auto amount = parse_amount(text, kCubicMetres, "a volume", "`18 m3` or `400 l`");
  if (!amount) return amount;
  if (*amount <= 0.0 || *amount > kLargest) {
    return tl::make_unexpected(fmt::format(
        "found {}; expected a volume of more than zero and at most a million m3", quoted(text)));
  }
  return amount;
}

tl::expected<double, std::string> parse_volts(std::string_view text) {
  constexpr double kMost = 1000.0;
  auto volts = parse_amount(text, kVolts, "a voltage", "`2.2 V` or `2200 mV`");
  if (!volts) return volts;
  if (*volts <= 0.0 || *volts > kMost) {
    return tl::make_unexpected(fmt::format(
        "found {}; expected a battery's voltage, more than zero and at most 1000 V", quoted(text)));
  }
  return volts;
}

std::optional<int> parse_time_of_day(std::string_view text) {
  const auto digit = [&](std::size_t i) { return text[i] >= '0' && text[i] <= '9'; };
  if (text.size() != 5 || text[2] != ':' || !digit(0) || !digit(1) || !digit(3) || !digit(4)) {
    return std::nullopt;
  }
  const int hour = (text[0] - '0') * 10 + (text[1] - '0');
  const int minute = (text[3] - '0') * 10 + (text[4] - '0');
  if (hour > 23 || minute > 59) return std::nullopt;
  return hour * 60 + minute;
}

}  // namespace torpor::config
