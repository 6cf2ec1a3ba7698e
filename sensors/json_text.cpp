#include "sensors/json_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <optional>
#include <set>
#include <vector>

#include "sensors/decoding.h"

namespace torpor::decoding {
namespace {

using nlohmann::json;

// nlohmann's number for "number overflow".
constexpr int kNumberOverflow = 406;

// Watches the parser from outside: it cannot be stopped, so the first thing wrong is remembered and
// what follows is no longer kept.
class Watcher {
 public:
  bool operator()(int depth, json::parse_event_t event, const json& parsed) {
    if (fault_) return false;
    switch (event) {
      case json::parse_event_t::object_start:
        keys_.emplace_back();
        return within(depth);
      case json::parse_event_t::array_start:
        return within(depth);
      case json::parse_event_t::object_end:
        keys_.pop_back();
        return true;
      case json::parse_event_t::key:
        return first_of_its_name(parsed.get_ref<const std::string&>());
      default:
        return true;
    }
  }

  [[nodiscard]] const std::optional<DecodeError>& fault() const { return fault_; }

 private:
  bool within(int depth) {
    if (depth < kDeepestNesting) return true;
    fault_ =
        DecodeError{Refusal::malformed,
                    fmt::format("the JSON is nested deeper than {} levels: let the sensor send "
                                "its values in one flat object",
                                kDeepestNesting)};
    return false;
  }

  bool first_of_its_name(const std::string& key) {
    if (keys_.back().insert(key).second) return true;
    fault_ = DecodeError{Refusal::malformed,
                         fmt::format("the key \"{}\" occurs twice in one object: which of the two "
                                     "counts is not said, so neither is taken",
                                     excerpt(key))};
    return false;
  }

  std::vector<std::set<std::string>> keys_;  // of the objects that are open
  std::optional<DecodeError> fault_;
};

bool is_letter(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); }

// The run of letters around an offset, in lower case: "nan" out of {"t":NaN}.
std::string word_around(std::string_view text, std::size_t at) {
  std::size_t first = std::min(at, text.size());
  std::size_t last = first;
  while (first > 0 && is_letter(text[first - 1])) --first;
  while (last < text.size() && is_letter(text[last])) ++last;
  std::string word(text.substr(first, last - first));
  for (char& c : word) c = static_cast<char>(c | 0x20);
  return word;
}

DecodeError syntax_error(std::string_view text, std::size_t byte) {
  // nlohmann counts from 1 and means the last byte it read; past the end: the text stops early.
  if (byte > text.size()) {
    return {Refusal::malformed,
            fmt::format("the JSON stops too early, after {} bytes: the sensor may be cutting long "
                        "messages short",
                        text.size())};
  }
  const std::size_t at = byte == 0 ? 0 : byte - 1;
  const std::string word = word_around(text, at);
  if (word == "nan" || word == "inf" || word == "infinity") {
    return {Refusal::not_finite,
            fmt::format("\"{}\" at byte {} is not a number: the sensor has no reading; let it send "
                        "nothing instead",
                        word, at + 1)};
  }
  return {Refusal::malformed,
          fmt::format("not valid JSON at byte {} of {}, at '{}': expected an object such as "
                      "{{\"t\": 21.5}}",
                      at + 1, text.size(), excerpt(text.substr(at, 20)))};
}

}  // namespace

tl::expected<json, DecodeError> parse_json(std::string_view text) {
  Watcher watcher;
  try {
    json document = json::parse(text.begin(), text.end(), std::ref(watcher));
    if (watcher.fault()) return tl::unexpected(*watcher.fault());
    return document;
  } catch (const json::parse_error& error) {
    return tl::unexpected(syntax_error(text, error.byte));
  } catch (const json::exception& error) {
    if (error.id == kNumberOverflow) {
      return refuse(Refusal::not_finite,
                    "a number in the JSON is too large for any sensor: look at what it sends");
    }
    return refuse(Refusal::malformed, "not valid JSON: expected an object such as {\"t\": 21.5}");
  }
}

const json* find_by_pointer(const json& document, std::string_view pointer) {
  try {
    const json::json_pointer place{std::string(pointer)};
    return document.contains(place) ? &document.at(place) : nullptr;
  } catch (const json::exception&) {  // not a pointer, or an index past any array
    return nullptr;
  }
}

tl::expected<double, DecodeError> number_of(const json& value, const std::string& where) {
  if (value.is_number()) {
    const auto number = value.get<double>();
    if (std::isfinite(number)) return number;
    return refuse(Refusal::not_finite, fmt::format("{} is not a finite number", where));
  }
  if (value.is_string()) {
    return refuse(Refusal::wrong_type,
                  fmt::format("{} holds {}: a number is sent without quotation marks", where,
                              describe(value)));
  }
  if (value.is_null()) {
    return refuse(Refusal::wrong_type,
                  fmt::format("{} holds null: the sensor has no reading; let it send nothing "
                              "instead",
                              where));
  }
  return refuse(Refusal::wrong_type,
                fmt::format("{} holds {}: expected a number", where, describe(value)));
}

std::string describe(const json& value) {
  switch (value.type()) {
    case json::value_t::string:
      return fmt::format("the text \"{}\"", excerpt(value.get_ref<const std::string&>()));
    case json::value_t::boolean:
      return value.get<bool>() ? "true" : "false";
    case json::value_t::object:
      return "an object";
    case json::value_t::array:
      return "an array";
    case json::value_t::null:
      return "null";
    default:
      return "a number";
  }
}

}  // namespace torpor::decoding
