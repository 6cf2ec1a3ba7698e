// Where the sensors hang: what the engine and the exposure history need to know of the
// configuration. Dated copies of it are kept by the history, so that a change never re-tags the
// past.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "sensors/reading.h"

namespace torpor::rules {

// What a sensor senses. Only `air` speaks for the air outside a jar's cover: a probe under the
// cover would feel the jar's own damp and make every jar look safe.
enum class Senses { air, headspace, glass, culture };
// The word in output and in the history. Stored: do not rename.
[[nodiscard]] std::string_view senses_name(Senses senses);
[[nodiscard]] std::optional<Senses> senses_named(std::string_view name);

// A value holds for so many expected intervals where it is not said: a sensor may miss two readings
// before its value is unknown.
inline constexpr int kHeldIntervals = 3;

struct SensorSpec {
  std::string id;
  std::string place;  // path of the place it hangs on; empty when it hangs on a jar
  std::string jar;    // jar id; empty when it hangs on a place
  Senses senses = Senses::air;
  std::vector<Quantity> measures;  // of air or jar: a battery is not among them
  Duration expected_interval{};    // > 0; where not given a guess, until the engine has learned it
  Duration hold{};                 // > 0; how long a value stands without a successor
  bool learns_interval = false;    // it is not given
  bool learns_hold = false;        // neither it nor the interval is given
  friend bool operator==(const SensorSpec&, const SensorSpec&) = default;
};

// The sensor as configured, with what was learned of it where that is not given: `dated` is how it
// stands in the history.
[[nodiscard]] SensorSpec with_learned(SensorSpec configured, const SensorSpec& dated);

struct PlaceSpec {
  std::string path;  // "cellar/shelf-2"
  bool outside = false;
  std::optional<double> volume_m3 = std::nullopt;  // of the room
  friend bool operator==(const PlaceSpec&, const PlaceSpec&) = default;
};

// Sensors are in configuration order: the first live one at a place speaks.
struct Layout {
  std::vector<PlaceSpec> places;
  std::vector<SensorSpec> sensors;
  friend bool operator==(const Layout&, const Layout&) = default;
};

// "cellar/shelf-2" -> "cellar"; "cellar" -> "".
[[nodiscard]] std::string_view parent_place(std::string_view path);
// True if `path` is `ancestor` or lies below it.
[[nodiscard]] bool is_at_or_below(std::string_view path, std::string_view ancestor);

// True if the place or one above it is marked `outside`.
[[nodiscard]] bool is_outside(const Layout& layout, std::string_view place);

}  // namespace torpor::rules
