// measure = number unit { number unit }    more than one pair only as pounds and ounces
// number  = digits [ ( "." | "," ) digits ]
//
// valid:   1200 g   1200g   1.2 kg   1,25 kg   2 lb 10 oz   2lb 10oz   3.8 l   0,250 kg
// invalid: 1200 (no unit)   1,250 g (1250 or 1.25?)   -5 g   1.250,5 g   2 lb 20 oz   3 l for a
// weight
#include "daemon/ledger/measures_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <optional>

#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/tokens.h"

namespace torpor::daemon {

namespace {

struct UnitWord {
  std::string_view word;
  Dimension dimension;
  double factor;  // to g, ml, mm, h, %
};

// International avoirdupois pound and inch (1959), exact; US gallon of 231 cubic inches, exact.
constexpr double kGramsInPound = 453.59237;
constexpr double kGramsInOunce = kGramsInPound / 16;
constexpr double kMillilitresInGallon = 3785.411784;
constexpr double kMillilitresInQuart = kMillilitresInGallon / 4;

constexpr std::array kUnits = {
    UnitWord{"g", Dimension::mass, 1},
    UnitWord{"gram", Dimension::mass, 1},
    UnitWord{"grams", Dimension::mass, 1},
    UnitWord{"kg", Dimension::mass, 1000},
    UnitWord{"kilo", Dimension::mass, 1000},
    UnitWord{"kilos", Dimension::mass, 1000},
    UnitWord{"oz", Dimension::mass, kGramsInOunce},
    UnitWord{"ounce", Dimension::mass, kGramsInOunce},
    UnitWord{"ounces", Dimension::mass, kGramsInOunce},
    UnitWord{"lb", Dimension::mass, kGramsInPound},
    UnitWord{"lbs", Dimension::mass, kGramsInPound},
    UnitWord{"pound", Dimension::mass, kGramsInPound},
    UnitWord{"pounds", Dimension::mass, kGramsInPound},
    UnitWord{"ml", Dimension::volume, 1},
    UnitWord{"l", Dimension::volume, 1000},
    UnitWord{"litre", Dimension::volume, 1000},
    UnitWord{"litres", Dimension::volume, 1000},
    UnitWord{"liter", Dimension::volume, 1000},
    UnitWord{"liters", Dimension::volume, 1000},
    UnitWord{"gal", Dimension::volume, kMillilitresInGallon},
    UnitWord{"gallon", Dimension::volume, kMillilitresInGallon},
    UnitWord{"gallons", Dimension::volume, kMillilitresInGallon},
    UnitWord{"qt", Dimension::volume, kMillilitresInQuart},
    UnitWord{"quart", Dimension::volume, kMillilitresInQuart},
    UnitWord{"quarts", Dimension::volume, kMillilitresInQuart},
    UnitWord{"mm", Dimension::length, 1},
    UnitWord{"cm", Dimension::length, 10},
    UnitWord{"in", Dimension::length, 25.4},
    UnitWord{"inch", Dimension::length, 25.4},
    UnitWord{"inches", Dimension::length, 25.4},
    UnitWord{"min", Dimension::duration, 1.0 / 60},
    UnitWord{"minute", Dimension::duration, 1.0 / 60},
    UnitWord{"minutes", Dimension::duration, 1.0 / 60},
    UnitWord{"h", Dimension::duration, 1},
    UnitWord{"hour", Dimension::duration, 1},
    UnitWord{"hours", Dimension::duration, 1},
    UnitWord{"d", Dimension::duration, 24},
    UnitWord{"day", Dimension::duration, 24},
    UnitWord{"days", Dimension::duration, 24},
    UnitWord{"%", Dimension::humidity, 1},
    UnitWord{"percent", Dimension::humidity, 1},
    UnitWord{"%RH", Dimension::humidity, 1},
};

const UnitWord* unit_called(std::string_view word) {
  const auto found = std::find_if(kUnits.begin(), kUnits.end(),
                                  [&](const UnitWord& unit) { return same_word(unit.word, word); });
  return found == kUnits.end() ? nullptr : &*found;
}

bool in_number(char c) { return (c >= '0' && c <= '9') || c == '.' || c == ',' || c == '-'; }

// Walks number and letter runs across words, since "2lb 10oz" and "2 lb 10 oz" say the same.
class Pieces {
 public:
  explicit Pieces(std::span<const std::string_view> words) : words_(words) {}

  // The next run of number characters, or of others; empty: not there.
  std::string_view number() { return run(true); }
  std::string_view letters() { return run(false); }
  [[nodiscard]] bool at_word_start() const { return offset_ == 0; }
  [[nodiscard]] std::size_t words_used() const { return word_; }

 private:
  std::string_view run(bool numeric) {
    if (word_ >= words_.size()) return {};
    const std::string_view word = words_[word_].substr(offset_);
    std::size_t length = 0;
    while (length < word.size() && in_number(word[length]) == numeric) ++length;
    offset_ += length;
    if (offset_ == words_[word_].size()) {
      ++word_;
      offset_ = 0;
    }
    return word.substr(0, length);
  }

  std::span<const std::string_view> words_;
  std::size_t word_ = 0;
  std::size_t offset_ = 0;
};

// The ounces that may follow pounds: nullopt, if what follows is something else.
std::optional<double> ounces_after(Pieces& pieces) {
  Pieces ahead = pieces;
  const auto number = read_number(ahead.number());
  if (!number) return std::nullopt;
  const UnitWord* unit = unit_called(ahead.letters());
  if (unit == nullptr || unit->factor != kGramsInOunce) return std::nullopt;
  pieces = ahead;
  return *number;
}

}  // namespace

std::string_view dimension_name(Dimension dimension) {
  switch (dimension) {
    case Dimension::mass:
      return "weight";
    case Dimension::volume:
      return "volume";
    case Dimension::length:
      return "length";
    case Dimension::duration:
      return "time";
    case Dimension::humidity:
      return "humidity";
  }
  return "";
}

std::string_view unit_list(Dimension dimension) {
  switch (dimension) {
    case Dimension::mass:
      return "g, kg, oz, lb";
    case Dimension::volume:
      return "ml, l, gal, qt";
    case Dimension::length:
      return "mm, cm, in";
    case Dimension::duration:
      return "min, h, d";
    case Dimension::humidity:
      return "%";
  }
  return "";
}

tl::expected<double, std::string> read_number(std::string_view text) {
  constexpr std::size_t kLongest = 16;  // more digits than any scale shows
  const auto refuse = [&](std::string_view why) {
    return tl::unexpected(fmt::format("{} {}", shown(text), why));
  };
  if (text.empty()) return tl::unexpected(std::string("a number is missing"));
  if (text.front() == '-') return refuse("is negative");
  const std::size_t mark = text.find_first_of(".,");
  const std::string_view whole = text.substr(0, mark);
  const std::string_view part = mark == std::string_view::npos ? "" : text.substr(mark + 1);
  const bool digits_only =
      (std::string(whole).append(part)).find_first_not_of("0123456789") == std::string::npos;
  if (!digits_only || text.size() > kLongest || (mark != std::string_view::npos && part.empty()) ||
      (whole.empty() && part.empty())) {
    return refuse("is not a plain number; write one like 1250 or 1.25");
  }
  if (mark != std::string_view::npos && text[mark] == ',' && part.size() == 3 && !whole.empty() &&
      whole.size() <= 3 && whole != "0") {
    return refuse(
        fmt::format("may be {}{} or {}.{}; write it without the comma", whole, part, whole, part));
  }
  std::string plain(text);
  std::replace(plain.begin(), plain.end(), ',', '.');
  double value = 0.0;
  const auto [end, error] = std::from_chars(plain.data(), plain.data() + plain.size(), value);
  if (error != std::errc() || end != plain.data() + plain.size() || value >= 1e9) {
    return refuse("is not a plain number; write one like 1250 or 1.25");
  }
  return value;
}

tl::expected<Measured, std::string> read_measure(std::span<const std::string_view> words,
                                                 Dimension dimension) {
  const std::string_view name = dimension_name(dimension);
  Pieces pieces(words);
  const std::string_view number_text = pieces.number();
  if (number_text.empty()) {
    return tl::unexpected(words.empty()
                              ? fmt::format("a {} is missing", name)
                              : fmt::format("{} is not a {}", shown(words.front()), name));
  }
  const auto number = read_number(number_text);
  if (!number) return tl::unexpected(number.error());
  const std::string_view unit_text = pieces.letters();
  const UnitWord* unit = unit_called(unit_text);
  if (unit == nullptr) {
    return tl::unexpected(fmt::format("{} has no unit of {} (one of {})", shown(number_text), name,
                                      unit_list(dimension)));
  }
  if (unit->dimension != dimension) {
    return tl::unexpected(fmt::format("{} is a {}, and a {} is wanted ({})",
                                      shown(fmt::format("{} {}", number_text, unit_text)),
                                      dimension_name(unit->dimension), name, unit_list(dimension)));
  }
  double value = *number * unit->factor;
  if (unit->factor == kGramsInPound) {
    if (const auto ounces = ounces_after(pieces)) {
      if (*ounces >= 16) {
        return tl::unexpected(fmt::format(
            "{} ounces beside pounds are a pound or more; write less than 16", *ounces));
      }
      value += *ounces * kGramsInOunce;
    }
  }
  if (!pieces.at_word_start()) {
    return tl::unexpected(fmt::format("{} is not a {}", shown(words[pieces.words_used()]), name));
  }
  return Measured{value, pieces.words_used()};
}

}  // namespace torpor::daemon
