#include "rules/watch/jar_figures.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace torpor::rules {
namespace {

constexpr double kNotKnown = std::numeric_limits<double>::quiet_NaN();
constexpr double kHourSeconds = 3600.0;

// A forecast stands while it can still be right to a tenth or so: an hour where days are left, a
// quarter of a day where weeks are, else a day; and no longer than the contents keep their
// temperature, for 2 K move a rate by about a fifth (Q10 of 2 to 3).
constexpr double kForecastDrift = 2.0;  // K
Duration forecast_stands(double seconds_left) {
  if (seconds_left < 3 * 24 * kHourSeconds) return std::chrono::hours(1);
  if (seconds_left < 30 * 24 * kHourSeconds) return std::chrono::hours(6);
  return std::chrono::hours(24);
}

std::size_t slot_in(RuleQuantity quantity) {
  return static_cast<std::size_t>(quantity) -
         static_cast<std::size_t>(RuleQuantity::jar_temperature);
}

template <class Amount>
double known(const std::optional<Amount>& amount) {
  return amount ? amount->value() : kNotKnown;
}
double likely(const std::optional<culture::Ensemble>& ensemble) {
  return ensemble ? ensemble->likely : kNotKnown;
}

double seconds_to_wake(const culture::WakeTime& time) {
  switch (time.kind) {
    case culture::WakeTime::Kind::unknown:
      return kNotKnown;
    case culture::WakeTime::Kind::due:
      return 0.0;
    case culture::WakeTime::Kind::within:
    case culture::WakeTime::Kind::beyond:
      break;
  }
  return time.hours * kHourSeconds;
}

}  // namespace

bool is_of_model(RuleQuantity quantity) {
  return quantity >= RuleQuantity::jar_temperature && quantity <= RuleQuantity::time_since_look;
}

double JarFigures::value(RuleQuantity quantity) const { return values[slot_in(quantity)]; }

std::optional<JarFigures::Origin> JarFigures::origin(RuleQuantity quantity) const {
  switch (quantity) {
    case RuleQuantity::time_since_opened:
      return Origin{open_since};
    case RuleQuantity::age:
      return Origin{closed_at};
    case RuleQuantity::time_since_look:
      return Origin{looked_at};
    default:
      return std::nullopt;
  }
}

JarFigures figures_of(const culture::JarModel& model, const JarFigures* before) {
  const culture::Figures now = model.figures();
  JarFigures result;
  result.at = model.at();
  result.values.fill(kNotKnown);
  result.open_since = now.open_since;
  result.closed_at = now.closed_at;
  result.looked_at = now.looked_at.value_or(now.closed_at);
  const auto set = [&](RuleQuantity quantity, double value) {
    result.values[slot_in(quantity)] = value;
  };
  set(RuleQuantity::jar_temperature, known(now.temperature));
  set(RuleQuantity::self_heating, known(now.self_heating));
  set(RuleQuantity::outer_dew_margin, known(now.outer_dew_margin));
  set(RuleQuantity::inner_dew_margin, known(now.inner_dew_margin));
  set(RuleQuantity::surface_activity, likely(now.surface_activity));
  set(RuleQuantity::body_activity, likely(now.body_activity));
  set(RuleQuantity::water_gained, likely(now.water_gained_g));
  set(RuleQuantity::water_buffer, likely(now.water_buffer_g));
  set(RuleQuantity::wake_progress, likely(now.wake_progress_percent));
  set(RuleQuantity::slow_work, likely(now.slow_work_percent));
  set(RuleQuantity::sugar_shortfall, likely(now.sugar_shortfall_g));
  set(RuleQuantity::kinetic_temperature, known(now.kinetic_temperature));
  set(RuleQuantity::waking_signs, static_cast<double>(now.waking_signs));
  set(RuleQuantity::gas_tight_lid, culture::facts(now.cover).vents_gas ? 0.0 : 1.0);

  const double temperature = known(now.temperature);
  if (before != nullptr) {
    const double left = before->value(RuleQuantity::time_to_wake);
    const bool stands = result.at < before->forecast_at + forecast_stands(left) &&
                        !(std::abs(temperature - before->forecast_temperature) >= kForecastDrift);
    if (stands && !std::isnan(left)) {
      const double passed = std::chrono::duration<double>(result.at - before->at).count();
      const bool in_sight = left < culture::kSightHours * kHourSeconds;
      set(RuleQuantity::time_to_wake, in_sight ? std::max(0.0, left - passed) : left);
      result.forecast_at = before->forecast_at;
      result.forecast_temperature = before->forecast_temperature;
      return result;
    }
  }
  set(RuleQuantity::time_to_wake, seconds_to_wake(model.verdict().time_to_wake[culture::kLikely]));
  result.forecast_at = result.at;
  result.forecast_temperature = temperature;
  return result;
}

}  // namespace torpor::rules
