#include "daemon/report/sensor_words.h"

#include <algorithm>

#include "sensors/trust.h"

namespace torpor::daemon {
namespace {

// The newest values are marked one by one; the judges' standing is of the sensor.
bool believed(const SensorView& view) {
  const bool marked =
      std::any_of(view.readings.begin(), view.readings.end(), [](const SensorReading& reading) {
        return !reading.trusted && !facts(reading.quantity).of_sensor;
      });
  return !marked && (!view.standing || (view.standing->doubts & kUnbelieved) == 0);
}

bool in_check(const SensorView& view) {
  return view.standing && (view.standing->doubts & kInCheck) != 0;
}

}  // namespace

std::string_view trust_state(const SensorView& view) {
  switch (view.state) {
    case SensorState::silent:
      return "silent";
    case SensorState::never_heard:
      return "never heard";
    case SensorState::not_configured:
      return "not configured";
    case SensorState::live:
      break;
  }
  if (in_check(view)) return "in a check";
  if (!believed(view)) return "not believed";
  return trust_reasons(view).empty() ? "believed" : "believed, with a doubt";
}

std::vector<std::string> trust_reasons(const SensorView& view) {
  if (!view.standing) return {};
  if (in_check(view)) return {view.standing->check};
  std::vector<std::string> reasons = view.standing->reasons;
  // It is compared where it hangs, and judged as ever.
  if (!view.standing->check.empty()) reasons.push_back(view.standing->check);
  return reasons;
}

}  // namespace torpor::daemon
