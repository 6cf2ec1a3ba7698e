#include "daemon/command/air.h"

#include <fmt/format.h>

#include "daemon/command/arguments.h"
#include "rules/air/psychrometrics.h"
#include "sensors/shown_number.h"

namespace torpor::daemon {
namespace {

// The range that rules/air states for its formulas.
constexpr double kColdest = -20.0, kWarmest = 60.0;

}  // namespace

tl::expected<AirView, Failure> answer_air(const AirQuestion& question) {
  const auto temperature = read_temperature(question.temperature);
  if (!temperature) return usage(temperature.error());
  const auto humidity = read_humidity(question.humidity);
  if (!humidity) return usage(humidity.error());
  if (temperature->value() < kColdest || temperature->value() > kWarmest) {
    return usage(fmt::format("{:.4g} °C is outside {} to {} °C, where the formulas hold",
                             temperature->value(), kColdest, kWarmest));
  }
  AirView view;
  view.temperature = *temperature;
  view.humidity = *humidity;
  view.pressure = rules::air::kStandardPressure;
  if (!question.pressure.empty()) {
    const auto pressure = read_pressure(question.pressure);
    if (!pressure) return usage(pressure.error());
    view.pressure = *pressure;
  }
  view.saturation_vapour_pressure = rules::air::saturation_vapour_pressure(*temperature);
  view.vapour_pressure = rules::air::vapour_pressure(*temperature, *humidity);
  if (view.pressure <= view.vapour_pressure) {
    return usage(
        fmt::format("a pressure of {} Pa is less than that of the vapour alone "
                    "({:.0f} Pa); the air at sea level has about 101325 Pa",
                    shown_number(view.pressure.value(), 0), view.vapour_pressure.value()));
  }
  if (view.vapour_pressure.value() > 0) {
    view.dew_point = rules::air::dew_point(view.vapour_pressure);
  }
  view.absolute_humidity = rules::air::absolute_humidity(*temperature, view.vapour_pressure);
  view.humidity_ratio = rules::air::humidity_ratio(view.vapour_pressure, view.pressure);
  return view;
}

}  // namespace torpor::daemon
