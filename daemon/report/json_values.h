// Values of the house as JSON values: for the .cpp files of this room that write JSON.
#pragma once

#include <cstdlib>
#include <optional>
#include <string>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "rules/culture/forecast.h"
#include "sensors/reading.h"
#include "sensors/rfc3339.h"

namespace torpor::daemon {

using Tree = nlohmann::ordered_json;

// Seven significant digits: finer than any sensor, and free of the tails that unit conversion
// leaves (77 °F is 25 °C, not 25.000000000000004).
[[nodiscard]] inline Tree json_value(double value) {
  return std::strtod(fmt::format("{:.7g}", value).c_str(), nullptr);
}
template <class Tag>
[[nodiscard]] Tree json_value(Amount<Tag> amount) {
  return json_value(amount.value());
}
[[nodiscard]] inline Tree json_value(Instant instant) { return to_rfc3339(instant); }
template <class T>
[[nodiscard]] Tree json_value(const std::optional<T>& value) {
  return value ? json_value(*value) : Tree(nullptr);
}
// Hours; out of sight is not unknown.
[[nodiscard]] inline Tree json_value(const rules::culture::WakeTime& time) {
  using Kind = rules::culture::WakeTime::Kind;
  switch (time.kind) {
    case Kind::unknown:
      return nullptr;
    case Kind::due:
      return 0;
    case Kind::within:
      return json_value(time.hours);
    case Kind::beyond:
      break;
  }
  return {{"beyond_h", static_cast<int>(rules::culture::kSightHours)}};
}
// Empty text is what nobody told: null.
[[nodiscard]] inline Tree json_text(const std::string& text) {
  return text.empty() ? Tree(nullptr) : Tree(text);
}
// `indent` -1: one line. Bytes that are not UTF-8 become replacement characters.
[[nodiscard]] inline std::string json_dump(const Tree& tree, int indent = -1) {
  return tree.dump(indent, ' ', false, Tree::error_handler_t::replace);
}

}  // namespace torpor::daemon
