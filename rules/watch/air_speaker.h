// Which sensor speaks for the air at a place at a moment, and what it says. The engine (live) and
// the exposure history (afterwards) both decide it here, so they cannot differ.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "rules/culture/air_sample.h"
#include "rules/watch/layout.h"
#include "sensors/quantity.h"

namespace torpor::rules {

// A value that holds from its measuring until the sensor's next reading, at most `hold`.
struct HeldValue {
  double value = 0.0;  // canonical unit
  Instant measured_at;
  Instant holds_until;  // exclusive
  double error = 0.0;   // expected of it, one standard deviation
  [[nodiscard]] bool live_at(Instant t) const { return measured_at <= t && t < holds_until; }
  friend bool operator==(const HeldValue&, const HeldValue&) = default;
};

// One sensor's newest trusted values at some moment.
struct SensorAir {
  std::optional<HeldValue> temperature;
  std::optional<HeldValue> humidity;
};

// The sensors that may speak for a place, best first: air sensors at the place itself in
// configuration order, then those of the nearest place above, and so on up. Indices into
// layout.sensors. Sensors on jars and senses other than air never appear. A place never falls back
// to one marked `outside` unless it is that place or below it.
[[nodiscard]] std::vector<std::size_t> speakers_for(const Layout& layout, std::string_view place);

struct SpokenAir {
  std::optional<std::size_t> temperature_speaker;  // index into layout.sensors
  std::optional<Celsius> temperature;
  // Humidity always goes with the temperature of the same sensor: `humid_temperature` is that one.
  std::optional<std::size_t> humidity_speaker;
  std::optional<Percent> humidity;
  std::optional<Celsius> humid_temperature;
  // Expected of what the two speakers say, one standard deviation: K, %.
  double temperature_error = 0.0, humidity_error = 0.0;
};

// What the speakers say at `t`. `air[i]` belongs to layout.sensors[i]; `speakers` as from
// speakers_for(). Temperature: the first speaker with a live temperature. Humidity: the first
// speaker with a live humidity and a live temperature of its own.
[[nodiscard]] SpokenAir spoken_air(std::span<const std::size_t> speakers,
                                   std::span<const SensorAir> air, Instant t);

// The air as a jar's model takes it: vapour from the humidity and its own sensor's temperature.
// Outside the model's range, and where nobody speaks, it is not known.
[[nodiscard]] culture::Air model_air(const SpokenAir& spoken);

}  // namespace torpor::rules
