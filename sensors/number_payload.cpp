// The form `number`: one number and nothing else, as the simplest sensors send it.
//   payload = white-space ["+" / "-"] (digits ["." [digits]] / "." digits) [exponent] white-space
// Valid: 21.5   -0.25   +7   1e1       Invalid: 21,5   21.5 C   0x15   1 2   "21.5"
#include <fmt/format.h>

#include <cassert>
#include <charconv>

#include "sensors/decoding.h"
#include "sensors/trimmed.h"

namespace torpor::decoding {
namespace {

bool is_not_finite_word(std::string_view text) {
  if (!text.empty() && (text.front() == '-' || text.front() == '+')) text.remove_prefix(1);
  std::string word(text.substr(0, 9));
  for (char& c : word) c = static_cast<char>(c | 0x20);
  return word == "nan" || word == "inf" || word == "infinity";
}

// What is most likely wrong with a text that is no number, as advice.
std::string_view advice(std::string_view text) {
  if (text.find_first_not_of("0123456789+-,") == std::string_view::npos &&
      text.find(',') != std::string_view::npos) {
    return "write a decimal point, not a comma";
  }
  if (text.front() == '{' || text.front() == '[') {
    return "this looks like JSON; set payload to json or senml in the configuration";
  }
  if (text.front() >= '0' && text.front() <= '9') {
    return "nothing may follow the number, no unit either";
  }
  return "send the bare number";
}

DecodeError no_number(std::string_view text) {
  return {Refusal::malformed, fmt::format("found '{}', expected one plain number such as 21.5: {}",
                                          excerpt(text), advice(text))};
}

// One sign at most, then a digit or the point: from_chars alone would also take "nan(1)".
bool begins_a_number(std::string_view text) {
  if (text.starts_with('-') || text.starts_with('+')) text.remove_prefix(1);
  return !text.empty() && std::string_view("0123456789.").find(text.front()) != text.npos;
}

tl::expected<double, DecodeError> read_number(std::string_view text) {
  if (is_not_finite_word(text)) {
    return refuse(
        Refusal::not_finite,
        fmt::format("'{}' is not a number: the sensor has no reading; let it send nothing "
                    "instead",
                    excerpt(text)));
  }
  if (!begins_a_number(text)) return tl::unexpected(no_number(text));
  // from_chars knows no leading plus.
  const std::string_view digits = text.front() == '+' ? text.substr(1) : text;
  double value = 0.0;
  const char* const end = digits.data() + digits.size();
  const auto [stop, error] = std::from_chars(digits.data(), end, value);
  if (error == std::errc::result_out_of_range && stop == end) {
    return refuse(Refusal::not_finite,
                  fmt::format("the number '{}' is too large or too small for any sensor: look at "
                              "what it sends",
                              excerpt(text)));
  }
  if (error != std::errc() || stop != end) return tl::unexpected(no_number(text));
  return value;
}

}  // namespace

Readings decode_number(const Message& message) {
  assert(message.format.measures.size() == 1);
  const Measure& measure = message.format.measures.front();
  const auto value = read_number(trimmed(message.payload));
  if (!value) return tl::unexpected(value.error());
  const auto measured = arrival_time(message.received_at);
  if (!measured) return tl::unexpected(measured.error());
  return std::vector{make_reading(message, measure.quantity, measure.unit, *value, *measured)};
}

}  // namespace torpor::decoding
