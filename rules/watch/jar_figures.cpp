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

// A quantity of the rule language and what it is of the jar's figures.
struct ModelFigure {
  RuleQuantity quantity;
  double (*value)(const culture::Figures&);
};
constexpr ModelFigure kFigures[] = {
    {RuleQuantity::jar_temperature, [](const culture::Figures& f) { return known(f.temperature); }},
    {RuleQuantity::self_heating, [](const culture::Figures& f) { return known(f.self_heating); }},
    {RuleQuantity::outer_dew_margin,
     [](const culture::Figures& f) { return known(f.outer_dew_margin); }},
    {RuleQuantity::inner_dew_margin,
     [](const culture::Figures& f) { return known(f.inner_dew_margin); }},
    {RuleQuantity::surface_activity,
     [](const culture::Figures& f) { return likely(f.surface_activity); }},
    {RuleQuantity::body_activity,
     [](const culture::Figures& f) { return likely(f.body_activity); }},
    {RuleQuantity::water_gained,
     [](const culture::Figures& f) { return likely(f.water_gained_g); }},
    {RuleQuantity::water_buffer,
     [](const culture::Figures& f) { return likely(f.water_buffer_g); }},
    {RuleQuantity::wake_progress,
     [](const culture::Figures& f) { return likely(f.wake_progress_percent); }},
    {RuleQuantity::slow_work,
     [](const culture::Figures& f) { return likely(f.slow_work_percent); }},
    {RuleQuantity::sugar_shortfall,
     [](const culture::Figures& f) { return likely(f.sugar_shortfall_g); }},
    {RuleQuantity::kinetic_temperature,
     [](const culture::Figures& f) { return known(f.kinetic_temperature); }},
    {RuleQuantity::waking_signs,
     [](const culture::Figures& f) { return static_cast<double>(f.waking_signs); }},
    {RuleQuantity::gas_tight_lid,
     [](const culture::Figures& f) { return culture::facts(f.cover).vents_gas ? 0.0 : 1.0; }},
};
static_assert(covers(kFigures, {Source::model}),
              "a row without its figure, or a figure without row");
static_assert(count_from({Source::forecast}) == 1, "only the time to wake is forecast");

// A quantity that counts from something told, and what.
struct Telling {
  RuleQuantity quantity;
  std::optional<Instant> (*since)(const JarFigures&);
};
constexpr Telling kTellings[] = {
    {RuleQuantity::time_since_opened, [](const JarFigures& f) { return f.open_since; }},
    {RuleQuantity::age, [](const JarFigures& f) { return std::optional(f.closed_at); }},
    {RuleQuantity::time_since_look, [](const JarFigures& f) { return std::optional(f.looked_at); }},
};
static_assert(covers(kTellings, {Source::telling}), "a row without its moment, or the reverse");

constexpr auto kOrder = quantities_from<kModelQuantities>({Source::model, Source::forecast});
constexpr auto kPlaces = places_in(kOrder);
constexpr std::size_t slot_in(RuleQuantity quantity) {
  return kPlaces[static_cast<std::size_t>(quantity)];
}

}  // namespace

const std::array<RuleQuantity, kModelQuantities>& model_quantities() { return kOrder; }

double JarFigures::value(RuleQuantity quantity) const { return values[slot_in(quantity)]; }

void JarFigures::put(RuleQuantity quantity, double value) { values[slot_in(quantity)] = value; }

std::optional<Instant> JarFigures::origin(RuleQuantity quantity) const {
  for (const Telling& each : kTellings) {
    if (each.quantity == quantity) return each.since(*this);
  }
  return std::nullopt;
}

JarFigures figures_of(const culture::JarModel& model, const JarFigures* before) {
  const culture::Figures now = model.figures();
  JarFigures result;
  result.at = model.at();
  result.open_since = now.open_since;
  result.closed_at = now.closed_at;
  result.looked_at = now.looked_at.value_or(now.closed_at);
  for (const ModelFigure& each : kFigures) {
    result.values[slot_in(each.quantity)] = each.value(now);
  }
  double& time_to_wake = result.values[slot_in(RuleQuantity::time_to_wake)];
  const double temperature = known(now.temperature);
  if (before != nullptr) {
    const double left = before->value(RuleQuantity::time_to_wake);
    const bool stands = result.at < before->forecast_at + forecast_stands(left) &&
                        !(std::abs(temperature - before->forecast_temperature) >= kForecastDrift);
    if (stands && !std::isnan(left)) {
      const double passed = std::chrono::duration<double>(result.at - before->at).count();
      const bool in_sight = left < culture::kSightHours * kHourSeconds;
      time_to_wake = in_sight ? std::max(0.0, left - passed) : left;
      result.forecast_at = before->forecast_at;
      result.forecast_temperature = before->forecast_temperature;
      return result;
    }
  }
  time_to_wake = seconds_to_wake(model.verdict().time_to_wake[culture::kLikely]);
  result.forecast_at = result.at;
  result.forecast_temperature = temperature;
  return result;
}

}  // namespace torpor::rules
