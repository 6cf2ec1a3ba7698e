// The form `json`: one JSON document, each quantity found by its pointer.
// Valid for /t and /ts in seconds: {"t": 21.5, "ts": 1772476200}
#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "sensors/decoding.h"
#include "sensors/json_text.h"
#include "sensors/rfc3339.h"

namespace torpor::decoding {
namespace {

using nlohmann::json;

std::string field_text(std::string_view pointer) {
  return pointer.empty() ? std::string("the document") : fmt::format("field {}", pointer);
}

// The names a document offers instead, for the message about one that is missing.
std::string offered(const json& document) {
  if (!document.is_object()) return fmt::format("the message is {}", describe(document));
  if (document.empty()) return "the message is an empty object";
  constexpr std::size_t kNamesShown = 6;
  std::string names;
  std::size_t shown = 0;
  for (const auto& item : document.items()) {
    if (++shown > kNamesShown) return fmt::format("the message holds {}, ...", names);
    if (!names.empty()) names += ", ";
    names += excerpt(item.key());
  }
  return fmt::format("the message holds {}", names);
}

tl::expected<const json*, DecodeError> field(const json& document, std::string_view pointer) {
  const json* value = find_by_pointer(document, pointer);
  if (value != nullptr) return value;
  return refuse(Refusal::missing_field,
                fmt::format("there is no {}: {}; check the pointer in the configuration",
                            field_text(pointer), offered(document)));
}

tl::expected<Instant, DecodeError> time_of(const json& value, const TimeSource& source,
                                           const Message& message) {
  const std::string where = field_text(source.pointer);
  if (source.format != TimeFormat::rfc3339) {
    const auto number = number_of(value, where);
    if (!number) return tl::unexpected(number.error());
    const double milliseconds = source.format == TimeFormat::seconds ? *number * 1000.0 : *number;
    return checked_time(milliseconds, message);
  }
  if (!value.is_string()) {
    return refuse(Refusal::wrong_type, fmt::format("{} holds {}: expected a time as text, such as "
                                                   "\"2026-03-02T18:30:00Z\"",
                                                   where, describe(value)));
  }
  const auto& text = value.get_ref<const std::string&>();
  const std::optional<Instant> instant = parse_rfc3339(text);
  if (!instant) {
    return refuse(Refusal::malformed,
                  fmt::format("{} holds \"{}\": expected a date and time with its offset, such as "
                              "2026-03-02T18:30:00Z",
                              where, excerpt(text)));
  }
  return checked_time(static_cast<double>(unix_ms(*instant)), message);
}

tl::expected<MeasuredAt, DecodeError> measured_at(const json& document, const Message& message) {
  if (!message.format.time) return arrival_time(message.received_at);
  const auto value = field(document, message.format.time->pointer);
  if (!value) return tl::unexpected(value.error());
  const auto instant = time_of(**value, *message.format.time, message);
  if (!instant) return tl::unexpected(instant.error());
  return MeasuredAt{*instant, false};
}

bool is_sent(const json& document, std::string_view pointer) {
  const json* value = find_by_pointer(document, pointer);
  return value != nullptr && !value->is_null();
}

// In percent; see VoltageSpan.
double charge_of(double volts, const VoltageSpan& span) {
  const double charge = 100.0 * (volts - span.empty) / (span.full - span.empty);
  return charge < -100.0 || charge > 200.0 ? charge : std::clamp(charge, 0.0, 100.0);
}

}  // namespace

Readings decode_json(const Message& message) {
  const auto document = parse_json(message.payload);
  if (!document) return tl::unexpected(document.error());
  const auto measured = measured_at(*document, message);
  if (!measured) return tl::unexpected(measured.error());

  std::vector<Reading> readings;
  for (const Measure& measure : message.format.measures) {
    // A charge is sent now and then, and must not cost the readings of the air.
    if (measure.quantity == Quantity::battery && !is_sent(*document, measure.pointer)) continue;
    const auto value = field(*document, measure.pointer);
    if (!value) return tl::unexpected(value.error());
    const auto number = number_of(**value, field_text(measure.pointer));
    if (!number) return tl::unexpected(number.error());
    const double raw = measure.volts ? charge_of(*number, *measure.volts) : *number;
    readings.push_back(make_reading(message, measure.quantity, measure.unit, raw, *measured));
  }
  return readings;
}

}  // namespace torpor::decoding
