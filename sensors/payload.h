// Payload bytes of one message -> values with their times. Three forms: `number` (a bare number),
// `json` (fields by JSON Pointer, RFC 6901), `senml` (RFC 8428). Pure: the only clock is the
// arrival time passed in. On the path of a reading: link message -> decode() -> inbox.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "sensors/reading.h"

namespace torpor {

enum class PayloadForm { number, json, senml };
enum class TimeFormat { seconds, milliseconds, rfc3339 };

// A battery that is told in volts: its charge is taken as 0 % at `empty` and 100 % at `full`, both
// in the unit of the payload, and as even between them. Past either by no more than the span it is
// empty or full; what lies further away is no battery of this kind, and stays out of range.
struct VoltageSpan {
  double empty = 0.0, full = 0.0;  // empty < full
  friend bool operator==(const VoltageSpan&, const VoltageSpan&) = default;
};

// How one quantity is found in a payload.
struct Measure {
  Quantity quantity = Quantity::temperature;
  Unit unit = Unit::celsius;  // unit of number and json; for senml the record's own unit rules
  std::string pointer;        // json: JSON Pointer, "" is the whole document
  std::string name;           // senml: resolved record name; empty: found by unit alone
  std::optional<VoltageSpan> volts = std::nullopt;  // json, battery: not sent in %
};

struct TimeSource {
  std::string pointer;  // JSON Pointer
  TimeFormat format = TimeFormat::seconds;
};

struct PayloadFormat {
  PayloadForm form = PayloadForm::number;
  std::vector<Measure> measures;   // number: exactly one; senml: may be empty (all found by unit)
  std::optional<TimeSource> time;  // json only; absent: stamped on arrival
};

// Why a message was refused: the reasons counted in the service topic. Names by refusal_name().
enum class Refusal {
  empty,
  too_large,
  not_utf8,
  malformed,
  missing_field,
  wrong_type,
  wrong_unit,
  not_finite,
  future,
  before_2000,
  unknown_extension,
  retained_without_time,
  unknown_sensor,
};
inline constexpr int kRefusalCount = 13;
[[nodiscard]] std::string_view refusal_name(Refusal refusal);  // "too_large", a JSON key

struct DecodeError {
  Refusal refusal;
  std::string text;  // what was found, what was expected, what to do: one line, no payload dump
};

// Largest payload read. A pack of a day of minutes is about 100 kB; more is a mistake or an attack.
inline constexpr std::size_t kLargestPayload = std::size_t{256} * 1024;
// A time further ahead of the arrival than this is refused as `future`.
inline constexpr Duration kFutureTolerance = std::chrono::minutes(5);

// All values of one message, in the order found; every reading carries `sensor`, its times and its
// marks (out of range, stamped on arrival). All or nothing: one bad value refuses the message, so
// that a redelivery is never half a message. `ahead`: what is measured later after the arrival is
// refused as `future`.
[[nodiscard]] tl::expected<std::vector<Reading>, DecodeError> decode(
    const PayloadFormat& format, std::string_view sensor, std::string_view payload,
    Instant received_at, Duration ahead = kFutureTolerance);

// A short printable excerpt of a payload for messages: at most 60 characters, control characters
// and bytes that are not UTF-8 shown as \xNN, "..." when cut.
[[nodiscard]] std::string excerpt(std::string_view payload);

}  // namespace torpor
