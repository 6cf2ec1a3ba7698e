// Any bytes as the configuration file: faults point into the file, and settings without a fault are
// fit for use by the decoders.
#include <cstdint>
#include <set>
#include <string>

#include "config/settings.h"
#include "sensors/payload.h"
#include "tests/fuzz/checks.h"
#include "tests/fuzz/fault_checks.h"

namespace torpor::fuzz {
namespace {

constexpr Instant kArrival = instant_of(1772476200000);  // 2026-03-02T18:30:00Z

void check_payload_format(const PayloadFormat& format) {
  const std::size_t count = format.measures.size();
  require(format.form != PayloadForm::number || count == 1, "a number has one measure");
  require(format.form != PayloadForm::json || count > 0, "json has measures");
  require(format.form == PayloadForm::json || !format.time, "only json has a time of its own");
  for (const Measure& measure : format.measures) {
    require(measures(measure.unit, measure.quantity), "a unit measures its quantity");
  }
  for (const char* payload :
       {"21.5", R"({"t":21.5,"rh":60,"ts":1772476200})", R"([{"n":"t","u":"Cel","v":21.5}])"}) {
    const auto readings = decode(format, "s", payload, kArrival);
    if (!readings) require_message(readings.error().text, 4000);
  }
}

void check_settings(const config::Settings& settings) {
  require(!settings.storeroom.empty(), "a storeroom has a name");
  require(settings.broker.port > 0 && settings.broker.port < 65536, "a port is a port");
  require(settings.rulebooks.size() == settings.rulebooks_at.size(), "each rule book is marked");
  std::set<std::string> ids;
  for (const config::SensorSettings& sensor : settings.sensors) {
    require(!sensor.spec.id.empty() && ids.insert(sensor.spec.id).second, "an id is its own");
    require(sensor.spec.place.empty() != sensor.spec.jar.empty(), "a sensor hangs on one thing");
    require(sensor.spec.expected_interval > Duration(0), "an interval is positive");
    require(sensor.spec.hold > Duration(0), "a hold is positive");
    require(!sensor.spec.measures.empty(), "a sensor measures something");
    require(sensor.topic.find_first_of("+#") == std::string::npos, "a topic is no filter");
    check_payload_format(sensor.payload);
  }
  const rules::Layout layout = settings.layout();
  require(layout.sensors.size() == settings.sensors.size(), "every sensor is in the layout");
  require(layout.places.size() == settings.places.size(), "every place is in the layout");
}

}  // namespace
}  // namespace torpor::fuzz

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  const torpor::config::SettingsResult result = torpor::config::read_settings(text, "input.yaml");
  for (const auto& fault : result.faults) torpor::fuzz::require_fault(fault, text);
  if (result.faults.empty()) torpor::fuzz::check_settings(result.settings);
  return 0;
}
