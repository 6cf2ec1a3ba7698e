#include "daemon/report/person_units.h"

#include <fmt/format.h>

#include <array>
#include <charconv>
#include <cmath>
#include <optional>

#include "sensors/shown_number.h"

namespace torpor::daemon {
namespace {

constexpr double kGramsOfOunce = 28.349523125;  // avoirdupois, exact by definition (1959)
constexpr double kOuncesOfPound = 16.0;

struct Figure {
  double value = 0.0;
  int decimals = 0;
  std::size_t length = 0;  // as written
};

// How one unit is written in another: value * factor + offset.
struct Change {
  std::string_view from, to;
  double factor, offset;
  int more_decimals;
  bool mass;
};
constexpr std::array kChanges = {
    Change{" °C", " °F", 1.8, 32.0, 0, false},
    Change{" K", " °F", 1.8, 0.0, 0, false},
    Change{" kg", " lb", 1000.0 / (kGramsOfOunce * kOuncesOfPound), 0.0, 0, true},
    Change{" g", " oz", 1.0 / kGramsOfOunce, 0.0, 1, true},
};

bool is_digit(char c) { return c >= '0' && c <= '9'; }
bool is_letter(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); }

// A number that begins a word; nullopt: none stands at `at`. What is too large to be written out
// (1e+308) is nobody's figure, and stays as it is.
std::optional<Figure> figure_at(std::string_view text, std::size_t at) {
  if (at >= text.size()) return std::nullopt;
  if (at > 0 && (is_digit(text[at - 1]) || is_letter(text[at - 1]) || text[at - 1] == '.' ||
                 text[at - 1] == '-' || text[at - 1] == '+')) {
    return std::nullopt;
  }
  Figure figure;
  std::size_t end = at + (text[at] == '-' ? 1 : 0);
  const std::size_t digits = end;
  while (end < text.size() && is_digit(text[end])) ++end;
  if (end == digits) return std::nullopt;
  if (end + 1 < text.size() && text[end] == '.' && is_digit(text[end + 1])) {
    const std::size_t point = end++;
    while (end < text.size() && is_digit(text[end])) ++end;
    figure.decimals = static_cast<int>(end - point - 1);
  }
  std::from_chars(text.data() + at, text.data() + end, figure.value);
  figure.length = end - at;
  return figure;
}

const Change* change_at(std::string_view text, std::size_t at) {
  for (const Change& change : kChanges) {
    if (text.substr(at, change.from.size()) != change.from) continue;
    const std::string_view rest = text.substr(at + change.from.size());
    if (rest.empty() || !(is_letter(rest[0]) || is_digit(rest[0]) || rest[0] == '/')) {
      return &change;
    }
  }
  return nullptr;
}

std::string changed(const Figure& figure, const Change& change) {
  const double value = figure.value * change.factor + change.offset;
  int decimals = figure.decimals + change.more_decimals;
  // "less than 1 g" must not become less than nothing.
  if (change.mass && figure.value != 0.0 && std::abs(value) < 0.1) decimals = 2;
  std::string text = shown_number(value, decimals);
  // Rounding must not leave a negative nothing.
  if (text.front() == '-' && text.find_first_not_of("-0.") == std::string::npos) text.erase(0, 1);
  return text;
}

constexpr std::string_view kTo = " to ";

// " (0 to 17)" behind an amount, in the amount's unit.
struct Range {
  Figure low, high;
  std::size_t length = 0;
};
std::optional<Range> range_at(std::string_view text, std::size_t at) {
  constexpr std::string_view kOpen = " (";
  if (text.substr(at, kOpen.size()) != kOpen) return std::nullopt;
  const auto low = figure_at(text, at + kOpen.size());
  if (!low) return std::nullopt;
  const std::size_t to = at + kOpen.size() + low->length;
  if (text.substr(to, kTo.size()) != kTo) return std::nullopt;
  const auto high = figure_at(text, to + kTo.size());
  if (!high) return std::nullopt;
  const std::size_t end = to + kTo.size() + high->length;
  if (text.substr(end, 1) != ")") return std::nullopt;
  return Range{*low, *high, end + 1 - at};
}

}  // namespace

std::string_view PersonUnits::temperature_symbol() const { return units_.fahrenheit ? "°F" : "°C"; }

std::string_view PersonUnits::weight_symbol() const { return units_.ounces ? "oz" : "g"; }

double PersonUnits::temperature(Celsius temperature) const {
  const double degC = temperature.value();
  return units_.fahrenheit ? degC * kChanges[0].factor + kChanges[0].offset : degC;
}

std::optional<double> PersonUnits::temperature(std::optional<Celsius> temperature) const {
  return temperature ? std::optional(this->temperature(*temperature)) : std::nullopt;
}

std::string PersonUnits::in(std::string_view sentence) const {
  if (!units_.fahrenheit && !units_.ounces) return std::string(sentence);
  const auto wanted = [this](const Change* change) {
    return change != nullptr && (change->mass ? units_.ounces : units_.fahrenheit);
  };
  std::string text;
  bool quoted = false;
  for (std::size_t at = 0; at < sentence.size();) {
    if (sentence[at] == '"') quoted = !quoted;
    const auto figure = quoted ? std::nullopt : figure_at(sentence, at);
    if (!figure) {
      text += sentence[at++];
      continue;
    }
    std::size_t end = at + figure->length;
    // "15 to 20 °C": the unit stands once, behind the second.
    std::optional<Figure> second;
    if (sentence.substr(end, kTo.size()) == kTo) {
      second = figure_at(sentence, end + kTo.size());
    }
    const std::size_t unit = second ? end + kTo.size() + second->length : end;
    const Change* change = change_at(sentence, unit);
    if (!wanted(change)) {
      text += sentence.substr(at, figure->length);
      at = end;
      continue;
    }
    text += changed(*figure, *change);
    if (second) text += std::string(kTo) + changed(*second, *change);
    text += change->to;
    end = unit + change->from.size();
    if (const auto range = range_at(sentence, end)) {
      text += fmt::format(" ({}{}{})", changed(range->low, *change), kTo,
                          changed(range->high, *change));
      end += range->length;
    }
    at = end;
  }
  return text;
}

}  // namespace torpor::daemon
