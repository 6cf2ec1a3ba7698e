// Ids of storerooms, sensors and jars, and the names of places: what they may hold.
#pragma once

#include <string>
#include <string_view>

namespace torpor::config {

// Finishes "expected ..." for is_id().
inline constexpr std::string_view kIdExpected = "1 to 32 letters (a-z, A-Z), digits, - or _";
inline constexpr std::size_t kLongestId = 32;

// ASCII on purpose: an id stands in an MQTT topic, in a sentence typed on a phone and on a label.
[[nodiscard]] bool is_id(std::string_view text);
// Ids that differ only in case are one id.
[[nodiscard]] std::string without_case(std::string_view id);

}  // namespace torpor::config
