// What the payload forms share. Internal to this room: callers use payload.h.
#pragma once

#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <tl/expected.hpp>

#include "sensors/payload.h"

namespace torpor::decoding {

using Readings = tl::expected<std::vector<Reading>, DecodeError>;

// One message on its way through a decoder: not empty, not too large, UTF-8.
struct Message {
  const PayloadFormat& format;
  std::string_view sensor;
  std::string_view payload;
  Instant received_at;
  Duration ahead{};  // of that, as measured times may be
};

// When a value was measured, and whether that moment hangs on the arrival.
struct MeasuredAt {
  Instant at;
  bool from_arrival = false;
};

[[nodiscard]] Readings decode_number(const Message& message);
[[nodiscard]] Readings decode_json(const Message& message);
[[nodiscard]] Readings decode_senml(const Message& message);

[[nodiscard]] inline tl::unexpected<DecodeError> refuse(Refusal refusal, std::string text) {
  return tl::unexpected<DecodeError>(DecodeError{refusal, std::move(text)});
}

// Milliseconds since 1970 as an instant to the nearest millisecond; refused as future or
// before_2000 where the limits of payload.h say so. Any double is a valid argument.
[[nodiscard]] tl::expected<Instant, DecodeError> checked_time(double unix_milliseconds,
                                                              const Message& message);

// The arrival itself, refused when our own clock cannot be right.
[[nodiscard]] tl::expected<MeasuredAt, DecodeError> arrival_time(Instant received_at);

// A reading with its marks. Preconditions: raw is finite, unit measures quantity.
[[nodiscard]] Reading make_reading(const Message& message, Quantity quantity, Unit unit, double raw,
                                   MeasuredAt measured);

}  // namespace torpor::decoding
