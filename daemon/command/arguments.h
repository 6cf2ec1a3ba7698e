// Amounts as a person types them behind a command: "25C", "77 °F", "60%", "950 hPa", "15min". Pure.
// Errors are whole sentences with an example.
#pragma once

#include <string>
#include <string_view>

#include <tl/expected.hpp>

#include "sensors/quantity.h"
#include "sensors/reading.h"

namespace torpor::daemon {

// °C C degC Cel, °F F degF or K; the unit must be there.
[[nodiscard]] tl::expected<Celsius, std::string> read_temperature(std::string_view text);
// 0 to 100; the sign % may be left out.
[[nodiscard]] tl::expected<Percent, std::string> read_humidity(std::string_view text);
// Pa where no unit is given, hPa, kPa; above 0.
[[nodiscard]] tl::expected<Pascal, std::string> read_pressure(std::string_view text);
// g, kg, oz or lb.
[[nodiscard]] tl::expected<Grams, std::string> read_weight(std::string_view text);
// s, min, h or d; at least 1 s, at most 10 years.
[[nodiscard]] tl::expected<Duration, std::string> read_duration(std::string_view text);

}  // namespace torpor::daemon
