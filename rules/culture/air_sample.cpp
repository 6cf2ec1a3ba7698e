#include "rules/culture/air_sample.h"

#include <fmt/format.h>

#include "rules/air/psychrometrics.h"
#include "rules/culture/heat.h"
#include "sensors/shown_number.h"

namespace torpor::rules::culture {

double saturation_at(double celsius) {
  return air::saturation_vapour_pressure(Celsius(celsius)).value();
}

tl::expected<Air, std::string> Air::of(Celsius temperature, std::optional<Percent> humidity,
                                       AirError error) {
  const double t = temperature.value();
  if (!(t >= kColdestAir && t <= kHottestAir)) {
    return tl::unexpected(
        fmt::format("{} °C cannot be the air of a storeroom (expected {:.0f} to {:.0f} °C): "
                    "check the sensor and its unit",
                    shown_number(t, 1), kColdestAir, kHottestAir));
  }
  if (humidity && !(humidity->value() >= 0.0 && humidity->value() <= 100.0)) {
    return tl::unexpected(
        fmt::format("{} % cannot be a relative humidity (expected 0 to 100 %): check the "
                    "sensor and its unit",
                    shown_number(humidity->value(), 1)));
  }
  Air air;
  air.temperature_ = t;
  air.saturation_ = air::saturation_vapour_pressure(temperature).value();
  air.kinetic_weight_ = KineticMean::weight(temperature);
  air.has_temperature_ = true;
  air.error_ = error;
  if (humidity) {
    air.vapour_ = air.saturation_ * humidity->value() / 100.0;
    air.has_humidity_ = true;
  }
  return air;
}

}  // namespace torpor::rules::culture
