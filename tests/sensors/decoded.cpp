#include "tests/sensors/decoded.h"

#include <sstream>

#include "sensors/rfc3339.h"

namespace torpor::test {

std::string decoded(const PayloadFormat& format, std::string_view payload, Instant received_at) {
  const auto readings = decode(format, "s1", payload, received_at);
  if (!readings) {
    return std::string(refusal_name(readings.error().refusal)) + ": " + readings.error().text;
  }
  std::ostringstream text;
  for (const Reading& reading : *readings) {
    if (&reading != &readings->front()) text << "; ";
    text << facts(reading.quantity).name << ' ' << reading.raw << ' ' << symbol(reading.unit) << ' '
         << to_rfc3339(reading.measured_at);
    if ((reading.marks & kStampedOnArrival) != 0) text << " arrival";
    if ((reading.marks & kOutOfRange) != 0) text << " impossible";
  }
  return text.str();
}

}  // namespace torpor::test
