// Any bytes as the payload of each form: what is decoded keeps the promises of payload.h, what is
// refused says so in one line.
#include <cmath>
#include <cstdint>
#include <string>
#include <vector>

#include "sensors/format_guess.h"
#include "sensors/payload.h"
#include "sensors/rfc3339.h"
#include "sensors/utf8.h"
#include "tests/fuzz/checks.h"

namespace torpor::fuzz {
namespace {

constexpr Instant kArrival = instant_of(1772476200000);  // 2026-03-02T18:30:00Z
constexpr Instant kStartOf2000 = instant_of(946684800000);
constexpr std::size_t kLongestExcerpt = 60 * 4;  // bytes of 60 characters

Measure measure(Quantity quantity, Unit unit, std::string pointer, std::string name) {
  Measure made;
  made.quantity = quantity;
  made.unit = unit;
  made.pointer = std::move(pointer);
  made.name = std::move(name);
  return made;
}

PayloadFormat number_format(Quantity quantity, Unit unit) {
  PayloadFormat format;
  format.measures = {measure(quantity, unit, "", "")};
  return format;
}

PayloadFormat json_format(std::vector<Measure> measures, std::optional<TimeSource> time) {
  PayloadFormat format;
  format.form = PayloadForm::json;
  format.measures = std::move(measures);
  format.time = std::move(time);
  return format;
}

PayloadFormat senml_format(std::vector<Measure> measures) {
  PayloadFormat format;
  format.form = PayloadForm::senml;
  format.measures = std::move(measures);
  return format;
}

// Configurations as keepers write them, and a few that reach further into the decoders.
const std::vector<PayloadFormat>& formats() {
  constexpr Quantity kTemperature = Quantity::temperature;
  constexpr Quantity kHumidity = Quantity::humidity;
  static const std::vector<PayloadFormat> all = {
      number_format(kTemperature, Unit::fahrenheit),
      number_format(kHumidity, Unit::percent),
      json_format({measure(kTemperature, Unit::celsius, "", "")}, std::nullopt),
      json_format({measure(kTemperature, Unit::celsius, "/t", ""),
                   measure(kHumidity, Unit::percent, "/rh", "")},
                  TimeSource{"/ts", TimeFormat::seconds}),
      json_format({measure(kTemperature, Unit::kelvin, "/a~1b/0/t", "")},
                  TimeSource{"/ts", TimeFormat::milliseconds}),
      json_format({measure(kTemperature, Unit::celsius, "/t", "")},
                  TimeSource{"/ts", TimeFormat::rfc3339}),
      senml_format({}),
      senml_format({measure(kTemperature, Unit::celsius, "", "urn:dev:s1:t"),
                    measure(kHumidity, Unit::percent, "", "")}),
  };
  return all;
}

void check_reading(const Reading& reading) {
  require(reading.sensor == "s1", "a reading carries its sensor");
  require(std::isfinite(reading.raw), "a raw value is finite");
  require(std::isfinite(reading.value()), "a canonical value is finite");
  require(reading.raw != 0.0 || !std::signbit(reading.raw), "a zero has no sign");
  require(measures(reading.unit, reading.quantity), "a unit measures its quantity");
  require(reading.received_at == kArrival, "a reading carries its arrival");
  require(reading.measured_at >= kStartOf2000, "nothing is measured before 2000");
  require(reading.measured_at <= kArrival + kFutureTolerance, "nothing is from the future");
  require(reading.trusted() == physically_possible(reading.quantity, reading.value()),
          "what is physically impossible is marked, nothing else");
  require((reading.marks & ~(kOutOfRange | kStampedOnArrival)) == 0, "no other marks");
  require(parse_rfc3339(to_rfc3339(reading.measured_at)) == reading.measured_at,
          "a time reads back as written");
}

void check_payload(const PayloadFormat& format, std::string_view payload) {
  const auto readings = decode(format, "s1", payload, kArrival);
  if (!readings) {
    require_message(readings.error().text, 2000);
    require(readings.error().refusal < Refusal::retained_without_time,
            "a refusal is one of the decoder's own");
    return;
  }
  require(!readings->empty(), "a message that is read holds a reading");
  require(readings->size() <= payload.size(), "there are no more readings than bytes");
  for (const Reading& reading : *readings) check_reading(reading);
}

void check_guess(std::string_view payload) {
  const auto guess = guess_format("cellar/s1", payload, kArrival);
  if (!guess) return require_message(guess.error(), 5000);
  require(!guess->readings.empty(), "a guess reads what it was made from");
  for (const std::string& note : guess->notes) require_message(note, 20000);
  check_payload(guess->format, payload);
}

void check_excerpt(std::string_view payload) {
  const std::string shown = excerpt(payload);
  require(shown.empty() == payload.empty(), "an excerpt is empty for no bytes only");
  if (!shown.empty()) require_message(shown, kLongestExcerpt);
}

void check_time(std::string_view text) {
  const auto instant = parse_rfc3339(text);
  constexpr Instant kYear0 = std::chrono::sys_days(std::chrono::year(0) / 1 / 1);
  constexpr Instant kYear10000 = std::chrono::sys_days(std::chrono::year(10000) / 1 / 1);
  if (!instant || *instant < kYear0 || *instant >= kYear10000) return;
  require(parse_rfc3339(to_rfc3339(*instant)) == instant, "a time reads back as written");
}

}  // namespace
}  // namespace torpor::fuzz

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view payload(reinterpret_cast<const char*>(data), size);
  for (const torpor::PayloadFormat& format : torpor::fuzz::formats()) {
    torpor::fuzz::check_payload(format, payload);
  }
  torpor::fuzz::check_guess(payload);
  torpor::fuzz::check_excerpt(payload);
  torpor::fuzz::check_time(payload);
  return 0;
}
