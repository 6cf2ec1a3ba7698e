#include "rules/watch/air_speaker.h"

#include <algorithm>

#include "rules/air/psychrometrics.h"

namespace torpor::rules {

std::vector<std::size_t> speakers_for(const Layout& layout, std::string_view place) {
  std::vector<std::size_t> speakers;
  const bool starts_outside = is_outside(layout, place);
  for (std::string_view at = place; !at.empty(); at = parent_place(at)) {
    // The weather is no stand-in for a room's own air.
    if (!starts_outside && is_outside(layout, at)) break;
    for (std::size_t i = 0; i < layout.sensors.size(); ++i) {
      const SensorSpec& sensor = layout.sensors[i];
      if (sensor.jar.empty() && sensor.senses == Senses::air && sensor.place == at) {
        speakers.push_back(i);
      }
    }
  }
  return speakers;
}

SpokenAir spoken_air(std::span<const std::size_t> speakers, std::span<const SensorAir> air,
                     Instant t) {
  SpokenAir spoken;
  for (const std::size_t speaker : speakers) {
    const SensorAir& own = air[speaker];
    const bool warm = own.temperature && own.temperature->live_at(t);
    const bool damp = own.humidity && own.humidity->live_at(t);
    if (warm && !spoken.temperature) {
      spoken.temperature_speaker = speaker;
      spoken.temperature = Celsius(own.temperature->value);
      spoken.temperature_error = own.temperature->error;
    }
    if (warm && damp && !spoken.humidity) {
      spoken.humidity_speaker = speaker;
      spoken.humidity = Percent(own.humidity->value);
      spoken.humid_temperature = Celsius(own.temperature->value);
      spoken.humidity_error = own.humidity->error;
    }
    if (spoken.temperature && spoken.humidity) break;
  }
  return spoken;
}

culture::Air model_air(const SpokenAir& spoken) {
  if (!spoken.temperature) return {};
  std::optional<Percent> humidity = spoken.humidity;
  if (humidity && spoken.humid_temperature != spoken.temperature) {
    // Another sensor's humidity: the same vapour at this temperature.
    const Pascal vapour = air::vapour_pressure(*spoken.humid_temperature, *humidity);
    const Pascal saturation = air::saturation_vapour_pressure(*spoken.temperature);
    humidity = Percent(std::min(100.0, 100.0 * vapour.value() / saturation.value()));
  }
  const auto air = culture::Air::of(*spoken.temperature, humidity,
                                    {spoken.temperature_error, spoken.humidity_error});
  return air.value_or(culture::Air());
}

}  // namespace torpor::rules
