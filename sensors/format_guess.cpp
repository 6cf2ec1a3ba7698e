#include "sensors/format_guess.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <nlohmann/json.hpp>
#include <optional>

#include "sensors/json_text.h"
#include "sensors/rfc3339.h"

namespace torpor {
namespace {

using nlohmann::json;
using Words = std::vector<std::string>;

// Values looked at in one message; sensors send a handful.
constexpr std::size_t kMostLeaves = 200;
// A room is seldom colder than 45 °F or warmer than 45 °C; nothing here is at 200 °C.
constexpr double kRatherFahrenheit = 45.0, kRatherKelvin = 200.0;
// Without a telling name a number is a time only when it is about now.
constexpr Duration kAboutNow = std::chrono::hours(1);
constexpr Duration kClockWrong = std::chrono::minutes(10);
// No small sensor's battery has more volts, or fewer thousandths of one.
constexpr double kMostVolts = 6.0, kLeastMillivolts = 1000.0;
// Two AA cells or a lithium coin, which most small sensors run on (common practice, no source).
constexpr VoltageSpan kUsualCells{2.2, 3.0};

bool one_of(std::string_view word, std::initializer_list<std::string_view> words) {
  return std::find(words.begin(), words.end(), word) != words.end();
}

bool any_of(const Words& words, std::initializer_list<std::string_view> wanted) {
  return std::any_of(words.begin(), words.end(),
                     [&](const std::string& word) { return one_of(word, wanted); });
}

// "air/outTemp_c" -> air, out, temp, c. ASCII only: other letters stay as they are.
Words words_of(std::string_view text) {
  Words words;
  bool fresh = true;
  char before = ' ';
  for (const char c : text) {
    const bool upper = c >= 'A' && c <= 'Z', lower = (c >= 'a' && c <= 'z') || (c & 0x80) != 0;
    if (!upper && !lower) {
      fresh = true;
    } else {
      const bool hump = upper && before >= 'a' && before <= 'z';
      if (fresh || hump) words.emplace_back();
      words.back() += upper ? static_cast<char>(c - 'A' + 'a') : c;
      fresh = false;
    }
    before = c;
  }
  return words;
}

// A value of its own kind that shares a word with the air's: set points, limits, other places.
bool of_something_else(const Words& words) {
  return any_of(words, {"dew",   "dewpoint", "index",    "feels",  "target",      "set",
                        "point", "setpoint", "offset",   "min",    "max",         "limit",
                        "alarm", "cpu",      "chip",     "board",  "core",        "soil",
                        "abs",   "absolute", "pressure", "uptime", "calibration", "correction"});
}

bool of_battery(const Words& words) {
  return any_of(words, {"battery", "bat", "batt", "batterie", "soc"});
}

bool of_voltage(const Words& words) {
  return any_of(words, {"voltage", "volt", "volts", "vbat", "vbatt", "vcc", "millivolt", "mv"});
}

// How surely a name means the quantity: 0 not at all, 1 by a letter, 2 by a word.
int means(const Words& words, Quantity quantity) {
  if (of_something_else(words) || of_battery(words) || of_voltage(words)) return 0;
  int sure = 0;
  for (const std::string& word : words) {
    const bool temperature = quantity == Quantity::temperature;
    const bool whole = temperature ? word.starts_with("temp")
                                   : word.starts_with("hum") || word.starts_with("umid") ||
                                         word.ends_with("feuchte") || word == "rh";
    const bool letter =
        temperature ? one_of(word, {"t", "tc", "tf", "degc", "degf", "celsius", "fahrenheit"})
                    : one_of(word, {"h"});
    sure = std::max(sure, whole ? 2 : letter ? 1 : 0);
  }
  return sure;
}

std::string escaped_token(std::string_view name) {
  std::string token;
  for (const char c : name) token += c == '~' ? "~0" : c == '/' ? "~1" : std::string(1, c);
  return token;
}

struct Leaf {
  std::string pointer;
  std::string shown;  // the pointer, fit for a message
  Words words;
  const json* value;
  const json* unit = nullptr;  // the text beside it that names its unit
};

void gather_leaves(const json& value, const std::string& pointer, std::vector<Leaf>& leaves) {
  if (leaves.size() >= kMostLeaves) return;
  if (value.is_object()) {
    const json* unit = nullptr;
    for (const char* key : {"unit", "units", "uom"}) {
      if (value.contains(key) && value[key].is_string()) unit = &value[key];
    }
    for (const auto& item : value.items()) {
      const std::size_t first = leaves.size();
      gather_leaves(item.value(), pointer + '/' + escaped_token(item.key()), leaves);
      if (!item.value().is_structured() && leaves.size() > first) leaves.back().unit = unit;
    }
  } else if (value.is_array()) {
    for (std::size_t i = 0; i < value.size(); ++i) {
      gather_leaves(value[i], fmt::format("{}/{}", pointer, i), leaves);
    }
  } else {
    leaves.push_back({pointer, excerpt(pointer), words_of(pointer), &value, nullptr});
  }
}

// A unit stands in the last level of a topic, if anywhere: c/s1 is no Celsius.
Words last_words(std::string_view topic) { return words_of(topic.substr(topic.rfind('/') + 1)); }

struct UnitGuess {
  Unit unit;
  std::string note;  // empty: it was said
};

// A temperature's unit: by what stands with it, else by how large it is.
UnitGuess unit_of(const Words& words, const json* said, double value) {
  if (said != nullptr) {
    const auto unit = unit_named(said->get_ref<const std::string&>());
    if (unit && measures(*unit, Quantity::temperature)) return {*unit, {}};
  }
  if (any_of(words, {"f", "tf", "degf", "tempf", "fahrenheit"})) return {Unit::fahrenheit, {}};
  if (any_of(words, {"k", "kelvin"})) return {Unit::kelvin, {}};
  if (any_of(words, {"c", "tc", "degc", "tempc", "celsius"})) return {Unit::celsius, {}};
  const Unit unit = value > kRatherKelvin       ? Unit::kelvin
                    : value > kRatherFahrenheit ? Unit::fahrenheit
                                                : Unit::celsius;
  return {unit, fmt::format("{:g} is taken for {} by its size: see that it fits the room", value,
                            symbol(unit))};
}

// Why a humidity cannot be taken as it is; empty: it can.
std::string humidity_fault(double value) {
  if (value > 0.0 && value <= 1.0) {
    return fmt::format("{:g} looks like a share of 1, and humidity is read in %: let it send {:g}",
                       value, value * 100.0);
  }
  if (value < 0.0 || value > 100.0) return fmt::format("{:g} is no humidity in %", value);
  return {};
}

// One choice of a JSON document after the other.
class ObjectGuess {
 public:
  ObjectGuess(std::string_view topic, const json& document, Instant received_at)
      : topic_words_(words_of(topic)), last_words_(last_words(topic)), received_at_(received_at) {
    gather_leaves(document, "", leaves_);
    guess_.format.form = PayloadForm::json;
  }

  FormatGuess run() && {
    guess_time();
    for (const Quantity quantity : {Quantity::temperature, Quantity::humidity}) take(quantity);
    if (guess_.format.measures.empty()) take_the_only_number();
    if (!guess_.format.measures.empty()) take_battery();
    return std::move(guess_);
  }

 private:
  void note(std::string text) { guess_.notes.push_back(std::move(text)); }

  // A time of the right size, and how far it is from now.
  struct Time {
    TimeFormat format;
    Duration ahead;
  };
  [[nodiscard]] std::optional<Time> time_in(const json& value) const {
    if (value.is_string()) {
      const auto instant = parse_rfc3339(value.get_ref<const std::string&>());
      if (!instant) return std::nullopt;
      return Time{TimeFormat::rfc3339, *instant - received_at_};
    }
    if (!value.is_number()) return std::nullopt;
    const double number = value.get<double>();
    // 2001 to 2100, in seconds and in thousandths of them.
    constexpr double kFirst = 978307200.0, kLast = 4102444800.0;
    for (const auto& [format, factor] :
         {std::pair(TimeFormat::seconds, 1000.0), std::pair(TimeFormat::milliseconds, 1.0)}) {
      const double seconds = number * factor / 1000.0;
      if (seconds < kFirst || seconds > kLast) continue;
      return Time{format, instant_of(std::llround(number * factor)) - received_at_};
    }
    return std::nullopt;
  }

  void guess_time() {
    for (const bool by_name : {true, false}) {
      for (auto leaf = leaves_.begin(); leaf != leaves_.end(); ++leaf) {
        const bool named = any_of(leaf->words, {"ts", "time", "timestamp", "date", "datetime",
                                                "when", "at", "utc", "epoch", "measured"});
        if (by_name && !named) continue;
        const auto time = time_in(*leaf->value);
        if (!time) {
          if (by_name && leaf->value->is_string() && means(leaf->words, Quantity::humidity) == 0) {
            note(
                fmt::format("{} holds \"{}\": without its offset from UTC it is not read as a "
                            "time",
                            leaf->shown, excerpt(leaf->value->get_ref<const std::string&>())));
          }
          continue;
        }
        if (!named && !leaf->value->is_string() && std::chrono::abs(time->ahead) > kAboutNow) {
          continue;
        }
        take_time(*leaf, *time);
        leaves_.erase(leaf);
        return;
      }
    }
    note("no time in the message: each reading is stamped when it arrives");
  }

  void take_time(const Leaf& leaf, const Time& time) {
    const auto minutes = std::chrono::duration_cast<std::chrono::minutes>(time.ahead).count();
    if (time.ahead > kFutureTolerance) {
      note(
          fmt::format("{} is {} min ahead of this computer's clock and would be refused: set the "
                      "sensor's clock; until then readings are stamped when they arrive",
                      leaf.shown, minutes));
      return;
    }
    guess_.format.time = TimeSource{leaf.pointer, time.format};
    if (time.ahead < -kClockWrong) {
      note(
          fmt::format("{} is {} min behind this computer's clock: see the sensor's clock and its "
                      "zone, unless the message is an old one",
                      leaf.shown, -minutes));
    }
  }

  void take(Quantity quantity) {
    const Leaf* best = nullptr;
    int best_means = 0;
    std::string others;
    for (const Leaf& leaf : leaves_) {
      const int sure = means(leaf.words, quantity);
      if (sure == 0) continue;
      if (leaf.value->is_string() && leaf.value != leaf.unit &&
          looks_like_a_number(leaf.value->get_ref<const std::string&>())) {
        note(fmt::format("{} holds {}: a number is sent without quotation marks, or it is not read",
                         leaf.shown, decoding::describe(*leaf.value)));
      }
      if (!leaf.value->is_number()) continue;
      if (sure > best_means) {
        best = &leaf;
        best_means = sure;
        others.clear();
      } else if (sure == best_means) {
        others += fmt::format("{}{}", others.empty() ? "" : ", ", leaf.shown);
      }
    }
    if (best == nullptr) return;
    add(*best, quantity, best->words);
    if (!others.empty()) {
      note(fmt::format("{} could also be {}: choose the one that is the air's", others,
                       facts(quantity).name));
    }
  }

  static bool looks_like_a_number(std::string_view text) {
    double number = 0.0;
    return std::from_chars(text.data(), text.data() + text.size(), number).ptr != text.data();
  }

  // {"value": 21.5} on cellar/s1/temperature: the topic says what it is.
  void take_the_only_number() {
    const auto is_number = [](const Leaf& leaf) {
      return leaf.value->is_number() && !of_something_else(leaf.words) && !of_battery(leaf.words) &&
             !of_voltage(leaf.words) && !any_of(leaf.words, {"rssi", "lqi"});
    };
    if (std::count_if(leaves_.begin(), leaves_.end(), is_number) != 1) return;
    const Leaf& leaf = *std::find_if(leaves_.begin(), leaves_.end(), is_number);
    for (const Quantity quantity : {Quantity::temperature, Quantity::humidity}) {
      if (means(topic_words_, quantity) == 0) continue;
      add(leaf, quantity, last_words_);
      note(fmt::format("{} is taken for {} by the topic's name", leaf.shown, facts(quantity).name));
      return;
    }
  }

  // A charge before a voltage: it needs no knowledge of the cells.
  void take_battery() {
    for (const bool in_volts : {false, true}) {
      for (const Leaf& leaf : leaves_) {
        if (!leaf.value->is_number() || of_something_else(leaf.words)) continue;
        if (!of_battery(leaf.words) && !of_voltage(leaf.words)) continue;
        const double value = leaf.value->get<double>();
        const bool whole = value == std::floor(value);
        const bool volts = of_voltage(leaf.words) || (value < kMostVolts && !whole);
        if (volts != in_volts || value < 0.0 || (!volts && value > 100.0)) continue;
        add_battery(leaf, volts, value);
        return;
      }
    }
  }

  void add_battery(const Leaf& leaf, bool volts, double value) {
    Measure measure{Quantity::battery, Unit::percent, leaf.pointer, {}};
    if (volts) {
      const double scale = value >= kLeastMillivolts ? 1000.0 : 1.0;
      if (value > kMostVolts * scale) return;
      measure.volts = VoltageSpan{kUsualCells.empty * scale, kUsualCells.full * scale};
      note(fmt::format(
          "{} is taken for its battery's {}: write below `empty` and `full` what its "
          "cells have; {} to {} V fits two AA cells or a lithium coin",
          leaf.shown, scale == 1.0 ? "volts" : "millivolts", kUsualCells.empty, kUsualCells.full));
    }
    guess_.format.measures.push_back(std::move(measure));
  }

  void add(const Leaf& leaf, Quantity quantity, const Words& words) {
    const double value = leaf.value->get<double>();
    if (quantity == Quantity::humidity) {
      const std::string fault = humidity_fault(value);
      if (!fault.empty()) return note(fmt::format("{}: {}", leaf.shown, fault));
      guess_.format.measures.push_back({quantity, Unit::percent, leaf.pointer, {}});
      return;
    }
    const UnitGuess unit = unit_of(words, leaf.unit, value);
    guess_.format.measures.push_back({quantity, unit.unit, leaf.pointer, {}});
    if (!unit.note.empty()) note(fmt::format("{}: {}", leaf.shown, unit.note));
  }

  const Words topic_words_, last_words_;
  const Instant received_at_;
  std::vector<Leaf> leaves_;
  FormatGuess guess_;
};

bool looks_like_senml(const json& document) {
  return document.is_array() && !document.empty() &&
         std::all_of(document.begin(), document.end(), [](const json& record) {
           return record.is_object() && (record.contains("n") || record.contains("bn"));
         });
}

// The names of a pack's records, of each quantity the first: for packs with two of a kind.
std::vector<Measure> named_measures(const json& pack) {
  std::vector<Measure> measures;
  std::string base_name, base_unit;
  const auto text = [](const json& record, const char* label, const std::string& otherwise) {
    const auto found = record.find(label);
    return found != record.end() && found->is_string() ? found->get<std::string>() : otherwise;
  };
  for (const json& record : pack) {
    base_name = text(record, "bn", base_name);
    base_unit = text(record, "bu", base_unit);
    const auto unit = unit_named(text(record, "u", base_unit));
    if (!unit || !record.contains("v")) continue;
    const Quantity quantity = *unit == Unit::percent ? Quantity::humidity : Quantity::temperature;
    const bool known = std::any_of(measures.begin(), measures.end(),
                                   [&](const Measure& one) { return one.quantity == quantity; });
    if (!known) measures.push_back({quantity, *unit, {}, base_name + text(record, "n", {})});
  }
  return measures;
}

FormatGuess senml_guess(std::string_view payload, const json& pack, Instant received_at) {
  FormatGuess guess;
  guess.format.form = PayloadForm::senml;
  if (decode(guess.format, "", payload, received_at)) return guess;
  guess.format.measures = named_measures(pack);
  if (!guess.format.measures.empty()) {
    guess.notes.emplace_back(
        "the pack holds several of a kind: choose the record that is the air's by its name, and "
        "give every other its own sensor on the same topic");
  }
  return guess;
}

FormatGuess number_guess(std::string_view topic, double value) {
  FormatGuess guess;
  guess.format.form = PayloadForm::number;
  const Words words = words_of(topic);
  const bool humidity = means(words, Quantity::humidity) > means(words, Quantity::temperature);
  if (humidity) {
    guess.format.measures.push_back({Quantity::humidity, Unit::percent, {}, {}});
    const std::string fault = humidity_fault(value);
    if (!fault.empty()) guess.notes.push_back(fault);
  } else {
    const UnitGuess unit = unit_of(last_words(topic), nullptr, value);
    guess.format.measures.push_back({Quantity::temperature, unit.unit, {}, {}});
    if (means(words, Quantity::temperature) == 0) {
      guess.notes.emplace_back(
          "a bare number, and the topic does not say of what: taken for a temperature");
    }
    if (!unit.note.empty()) guess.notes.push_back(unit.note);
  }
  guess.notes.emplace_back(
      "the air needs temperature and humidity of one sensor: let it send both in one message if it "
      "can");
  return guess;
}

}  // namespace

tl::expected<FormatGuess, std::string> guess_format(std::string_view topic,
                                                    std::string_view payload, Instant received_at) {
  FormatGuess guess;
  PayloadFormat number;
  number.measures.push_back({Quantity::temperature, Unit::celsius, {}, {}});
  const auto bare = decode(number, "", payload, received_at);
  const bool document = payload.find_first_of("{[") != std::string_view::npos;
  if (bare) {
    const Words last = last_words(topic);
    if (of_battery(last) || of_voltage(last)) {
      return tl::unexpected<std::string>(
          "it tells of a battery alone; a charge is read along with the readings of its sensor: "
          "let it send both in one message if it can");
    }
    guess = number_guess(topic, bare->front().raw);
  } else if (!document || bare.error().refusal == Refusal::too_large ||
             bare.error().refusal == Refusal::not_utf8) {
    return tl::unexpected(bare.error().text);
  } else {
    const auto parsed = decoding::parse_json(payload);
    if (!parsed) return tl::unexpected(parsed.error().text);
    guess = looks_like_senml(*parsed) ? senml_guess(payload, *parsed, received_at)
                                      : ObjectGuess(topic, *parsed, received_at).run();
  }
  if (guess.format.form == PayloadForm::json && guess.format.measures.empty()) {
    std::string why =
        "no field is named like a temperature or a humidity, such as t, temp, rh or "
        "humidity";
    for (const std::string& note : guess.notes) {
      if (note.find("message:") == std::string::npos) why += "; " + note;
    }
    return tl::unexpected(why);
  }
  auto readings = decode(guess.format, "", payload, received_at);
  if (!readings) return tl::unexpected(readings.error().text);
  guess.readings = std::move(*readings);
  return guess;
}

}  // namespace torpor
