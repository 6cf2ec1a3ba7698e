#include "rules/book/units.h"

#include <array>
#include <charconv>
#include <cmath>
#include <vector>

namespace torpor::rules {
namespace {

// In the order of the enum. Ounce, pound and gallon: international avoirdupois ounce and pound,
// US liquid gallon (NIST Handbook 44, appendix C).
constexpr std::array<UnitFacts, 20> kUnits{{
    {RuleUnit::celsius, "°C", "C degC Cel", Dimension::temperature, 1.0, 0.0},
    {RuleUnit::fahrenheit, "°F", "F degF", Dimension::temperature, 5.0 / 9.0, -160.0 / 9.0},
    {RuleUnit::kelvin, "K", "", Dimension::temperature, 1.0, -273.15},
    {RuleUnit::percent, "%", "percent %RH", Dimension::percent, 1.0, 0.0},
    {RuleUnit::pascal, "Pa", "", Dimension::pressure, 1.0, 0.0},
    {RuleUnit::hectopascal, "hPa", "", Dimension::pressure, 100.0, 0.0},
    {RuleUnit::kilopascal, "kPa", "", Dimension::pressure, 1000.0, 0.0},
    {RuleUnit::gram_per_cubic_metre, "g/m³", "g/m3 g/m^3", Dimension::vapour_density, 1.0, 0.0},
    {RuleUnit::gram, "g", "", Dimension::mass, 1.0, 0.0},
    {RuleUnit::kilogram, "kg", "", Dimension::mass, 1000.0, 0.0},
    {RuleUnit::ounce, "oz", "", Dimension::mass, 28.349523125, 0.0},
    {RuleUnit::pound, "lb", "", Dimension::mass, 453.59237, 0.0},
    {RuleUnit::millilitre, "ml", "mL", Dimension::volume, 1.0, 0.0},
    {RuleUnit::litre, "l", "L", Dimension::volume, 1000.0, 0.0},
    {RuleUnit::gallon, "gal", "", Dimension::volume, 3785.411784, 0.0},
    {RuleUnit::second, "s", "sec second seconds", Dimension::duration, 1.0, 0.0},
    {RuleUnit::minute, "min", "minute minutes", Dimension::duration, 60.0, 0.0},
    {RuleUnit::hour, "h", "hr hour hours", Dimension::duration, 3600.0, 0.0},
    {RuleUnit::day, "d", "day days", Dimension::duration, 86400.0, 0.0},
    {RuleUnit::none, "", "", Dimension::number, 1.0, 0.0},
}};

bool listed(std::string_view word, std::string_view aliases) {
  while (!aliases.empty()) {
    const auto end = aliases.find(' ');
    if (aliases.substr(0, end) == word) return true;
    aliases.remove_prefix(end == std::string_view::npos ? aliases.size() : end + 1);
  }
  return false;
}

std::string number_text(double number) {
  // Fixed notation: the language reads no exponents. 320 bytes hold any double written so.
  std::array<char, 512> buffer{};
  const auto end =
      std::to_chars(buffer.data(), buffer.data() + buffer.size(), number, std::chars_format::fixed)
          .ptr;
  return {buffer.data(), end};
}

double nine_digits(double value) {
  if (value == 0.0) return 0.0;
  const double exponent = std::floor(std::log10(std::abs(value)));
  const double step = std::pow(10.0, 8.0 - exponent);
  return std::round(value * step) / step;
}

}  // namespace

const UnitFacts& facts(RuleUnit unit) { return kUnits[static_cast<std::size_t>(unit)]; }

std::optional<RuleUnit> rule_unit_named(std::string_view word) {
  if (word.empty()) return std::nullopt;
  for (const UnitFacts& row : kUnits) {
    if (row.symbol == word || listed(word, row.aliases)) return row.unit;
  }
  return std::nullopt;
}

bool measures(RuleUnit unit, Dimension dimension) {
  if (dimension == Dimension::temperature_difference) return unit == RuleUnit::kelvin;
  return facts(unit).dimension == dimension;
}

std::string units_for(Dimension dimension) {
  std::vector<std::string_view> symbols;
  for (const UnitFacts& row : kUnits) {
    if (row.unit != RuleUnit::none && measures(row.unit, dimension)) symbols.push_back(row.symbol);
  }
  std::string text;
  for (std::size_t i = 0; i < symbols.size(); ++i) {
    if (i > 0) text += i + 1 == symbols.size() ? " or " : ", ";
    text += symbols[i];
  }
  return text;
}

std::string_view canonical_symbol(Dimension dimension) {
  if (dimension == Dimension::temperature_difference) return "K";
  for (const UnitFacts& row : kUnits) {
    if (row.dimension == dimension && row.scale == 1.0 && row.offset == 0.0) return row.symbol;
  }
  return "";
}

double to_canonical(const WrittenAmount& amount, Dimension dimension) {
  if (dimension == Dimension::temperature_difference) return amount.number;
  const UnitFacts& row = facts(amount.unit);
  return amount.number * row.scale + row.offset;
}

WrittenAmount from_canonical(double canonical, RuleUnit unit, Dimension dimension) {
  if (dimension == Dimension::temperature_difference) return {nine_digits(canonical), unit};
  const UnitFacts& row = facts(unit);
  return {nine_digits((canonical - row.offset) / row.scale), unit};
}

std::string to_text(const WrittenAmount& amount) {
  std::string text = number_text(amount.number);
  if (amount.unit != RuleUnit::none) {
    text += ' ';
    text += facts(amount.unit).symbol;
  }
  return text;
}

WrittenAmount written_duration(Duration duration) {
  using std::chrono::duration_cast;
  const auto seconds = duration_cast<std::chrono::seconds>(duration).count();
  for (const RuleUnit unit : {RuleUnit::day, RuleUnit::hour, RuleUnit::minute}) {
    const auto length = static_cast<std::int64_t>(facts(unit).scale);
    if (seconds != 0 && seconds % length == 0) {
      const std::int64_t whole = seconds / length;
      return {static_cast<double>(whole), unit};
    }
  }
  return {static_cast<double>(seconds), RuleUnit::second};
}

std::string duration_text(Duration duration) { return to_text(written_duration(duration)); }

}  // namespace torpor::rules
