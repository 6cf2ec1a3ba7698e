#include "sensors/payload.h"

#include <fmt/format.h>

#include <array>
#include <cassert>
#include <chrono>
#include <cmath>
#include <optional>

#include "sensors/decoding.h"
#include "sensors/rfc3339.h"
#include "sensors/utf8.h"

namespace torpor {
namespace {

// JSON keys of the service topic, in the order of the enum.
constexpr std::array<std::string_view, kRefusalCount> kRefusalNames = {
    "empty",          "too_large",   "not_utf8",          "malformed",
    "missing_field",  "wrong_type",  "wrong_unit",        "not_finite",
    "future",         "before_2000", "unknown_extension", "retained_without_time",
    "unknown_sensor",
};

constexpr std::string_view kWhiteSpace = " \t\r\n";
constexpr std::size_t kExcerptLength = 60;
constexpr std::string_view kCut = "...";

// True for characters that would break a one-line message or turn its direction: C0 and C1
// controls, DEL, line and paragraph separators, bidirectional overrides and isolates.
bool unprintable(char32_t c) {
  return c < 0x20 || (c >= 0x7F && c < 0xA0) || (c >= 0x2028 && c <= 0x202E) ||
         (c >= 0x2066 && c <= 0x2069);
}

std::string escaped(std::string_view bytes) {
  std::string text;
  for (const char byte : bytes) {
    text += fmt::format("\\x{:02x}", static_cast<unsigned char>(byte));
  }
  return text;
}

std::optional<DecodeError> unreadable(std::string_view payload) {
  if (payload.find_first_not_of(kWhiteSpace) == std::string_view::npos &&
      payload.size() <= kLargestPayload) {
    return DecodeError{Refusal::empty, "the message is empty: expected a reading"};
  }
  if (payload.size() > kLargestPayload) {
    return DecodeError{Refusal::too_large,
                       fmt::format("the message has {} bytes, more than {}: send smaller packs, or "
                                   "check that this topic carries readings",
                                   payload.size(), kLargestPayload)};
  }
  const std::size_t bad = find_not_utf8(payload);
  if (bad != std::string_view::npos) {
    return DecodeError{
        Refusal::not_utf8,
        fmt::format("byte {} of {} ({}) is not UTF-8 text: the sensor sends a binary "
                    "form that is not read here",
                    bad + 1, payload.size(), escaped(payload.substr(bad, 1)))};
  }
  return std::nullopt;
}

}  // namespace

std::string_view refusal_name(Refusal refusal) {
  const auto index = static_cast<std::size_t>(refusal);
  assert(index < kRefusalNames.size());
  return kRefusalNames[index];
}

tl::expected<std::vector<Reading>, DecodeError> decode(const PayloadFormat& format,
                                                       std::string_view sensor,
                                                       std::string_view payload,
                                                       Instant received_at, Duration ahead) {
  if (auto error = unreadable(payload)) return tl::unexpected(*std::move(error));
  const decoding::Message message{format, sensor, payload, received_at, ahead};
  switch (format.form) {
    case PayloadForm::number:
      return decoding::decode_number(message);
    case PayloadForm::json:
      return decoding::decode_json(message);
    case PayloadForm::senml:
      return decoding::decode_senml(message);
  }
  assert(false && "a form outside the enum");
  return decoding::refuse(Refusal::malformed, "the payload form is not known");
}

std::string excerpt(std::string_view payload) {
  std::string text;
  std::size_t length = 0;      // in characters
  std::size_t before_cut = 0;  // bytes of text that leave room for the dots
  while (!payload.empty()) {
    const auto [value, bytes, valid] = utf8_character_at(payload, 0);
    const std::string_view character = payload.substr(0, bytes);
    const bool escape = !valid || unprintable(value);
    const std::string shown = escape ? escaped(character) : std::string(character);
    length += escape ? shown.size() : 1;
    if (length > kExcerptLength) return text.substr(0, before_cut).append(kCut);
    text += shown;
    if (length <= kExcerptLength - kCut.size()) before_cut = text.size();
    payload.remove_prefix(character.size());
  }
  return text;
}

namespace decoding {
namespace {

constexpr Instant kEarliest = std::chrono::sys_days(std::chrono::January / 1 / 2000);

// A time for a message: as a date where it is one, as the plain number otherwise.
std::string time_text(double unix_milliseconds) {
  constexpr double kYear10000 = 253402300800e3;
  if (std::abs(unix_milliseconds) < kYear10000) {
    return to_rfc3339(instant_of(std::llround(unix_milliseconds)));
  }
  return fmt::format("{:.6g} s after 1970", unix_milliseconds / 1000.0);
}

}  // namespace

tl::expected<Instant, DecodeError> checked_time(double unix_milliseconds, const Message& message) {
  const Instant received_at = message.received_at;
  // Compared as doubles: the value may be far outside of what an Instant holds.
  const double milliseconds = std::round(unix_milliseconds);
  const auto latest = static_cast<double>(unix_ms(received_at + message.ahead));
  const auto earliest = static_cast<double>(unix_ms(kEarliest));
  if (std::isnan(milliseconds)) return refuse(Refusal::not_finite, "the time is not a number");
  if (milliseconds > latest) {
    const double as_seconds = milliseconds / 1000.0;
    const bool thousandfold = as_seconds >= earliest && as_seconds <= latest;
    return refuse(Refusal::future,
                  fmt::format("measured at {}, more than 5 min after it arrived ({}): {}",
                              time_text(milliseconds), to_rfc3339(received_at),
                              thousandfold ? "it looks like milliseconds taken for seconds"
                                           : "set the sensor's clock"));
  }
  if (milliseconds < earliest) {
    const double as_milliseconds = milliseconds * 1000.0;
    const bool thousandth = as_milliseconds >= earliest && as_milliseconds <= latest;
    return refuse(Refusal::before_2000,
                  fmt::format("measured at {}, before 2000: {}", time_text(milliseconds),
                              thousandth ? "it looks like seconds taken for milliseconds"
                                         : "set the sensor's clock"));
  }
  return instant_of(std::llround(milliseconds));
}

tl::expected<MeasuredAt, DecodeError> arrival_time(Instant received_at) {
  if (received_at >= kEarliest) return MeasuredAt{received_at, true};
  return refuse(Refusal::before_2000,
                fmt::format("the reading has no time of its own, and this computer's clock says "
                            "{}: set the clock",
                            to_rfc3339(received_at)));
}

Reading make_reading(const Message& message, Quantity quantity, Unit unit, double raw,
                     MeasuredAt measured) {
  assert(std::isfinite(raw) && measures(unit, quantity));
  Reading reading;
  reading.sensor = message.sensor;
  reading.quantity = quantity;
  // SQLite keeps a whole REAL as an integer, which has no -0: the sign would not survive the store,
  // and live and replayed readings are compared bit for bit.
  reading.raw = raw == 0.0 ? 0.0 : raw;
  reading.unit = unit;
  reading.measured_at = measured.at;
  reading.received_at = message.received_at;
  unsigned marks = kUnmarked;
  if (!physically_possible(quantity, reading.value())) marks |= kOutOfRange;
  if (measured.from_arrival) marks |= kStampedOnArrival;
  reading.marks = static_cast<std::uint8_t>(marks);
  return reading;
}

}  // namespace decoding
}  // namespace torpor
