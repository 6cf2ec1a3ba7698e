// The topic a sensor publishes on, as configured: an MQTT topic name in which `{sensor}` may stand
// for one whole level.
//   valid:    cellar/s1      {sensor} below the first level: loft/{sensor}/state
//   refused:  cellar/+  cellar/#  torpor/x/notice  {sensor}/state  a/s-{sensor} a/{sensor}/{sensor}
#pragma once

#include <optional>
#include <string>
#include <string_view>

namespace torpor::config {

inline constexpr std::string_view kSensorLevel = "{sensor}";

// Why a topic is refused: what was found, what to do; nullopt: it is good.
[[nodiscard]] std::optional<std::string> topic_fault(std::string_view topic);
// The topic with the sensor's id in the place of `{sensor}`.
[[nodiscard]] std::string topic_of(std::string_view topic, std::string_view sensor);

// Why a JSON Pointer (RFC 6901 section 3) is refused; nullopt: it is good. "" is the whole
// document.
[[nodiscard]] std::optional<std::string> pointer_fault(std::string_view pointer);

}  // namespace torpor::config
