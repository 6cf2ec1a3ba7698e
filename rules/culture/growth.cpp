#include "rules/culture/growth.h"

#include <cmath>

namespace torpor::rules::culture {

double cardinal_temperature(double t, double t_min, double t_opt, double t_max) {
  if (t <= t_min || t >= t_max) return 0.0;
  const double above = t - t_min;
  const double span = t_opt - t_min;
  const double below = span * (t - t_opt) - (t_opt - t_max) * (t_opt + t_min - 2.0 * t);
  return (t - t_max) * above * above / (span * below);
}

double cardinal_activity(double a, double a_min, double a_opt) {
  if (a >= a_opt) return 1.0;
  return cardinal_temperature(a, a_min, a_opt, 1.0);
}

std::string_view guild_name(Guild guild) {
  switch (guild) {
    case Guild::yeast:
      return "common yeasts";
    case Guild::lacto:
      return "lactic bacteria";
    case Guild::mould:
      return "moulds on the surface";
    case Guild::osmotolerant:
      break;
  }
  return "sugar-loving yeasts";
}

GuildLimits limits(Guild guild, const Parameters& set) {
  switch (guild) {
    case Guild::yeast:
      return {set.yeast_t_min, set.yeast_t_opt, set.yeast_t_max,
              set.yeast_a_min, set.yeast_a_opt, set.yeast_rate};
    case Guild::lacto:
      return {set.lacto_t_min, set.lacto_t_opt, set.lacto_t_max,
              set.lacto_a_min, set.lacto_a_opt, set.lacto_rate};
    case Guild::mould:
      return {set.mould_t_min, set.mould_t_opt, set.mould_t_max,
              set.mould_a_min, set.mould_a_opt, set.mould_rate};
    case Guild::osmotolerant:
      break;
  }
  return {set.osmo_t_min, set.osmo_t_opt, set.osmo_t_max,
          set.osmo_a_min, set.osmo_a_opt, set.osmo_rate};
}

double work_to_first_sign(const Parameters& set) { return set.lag_work + set.sign_work; }

double growth_rate(const GuildLimits& limits, Celsius temperature, double activity) {
  if (activity <= limits.a_min) return 0.0;
  return limits.rate *
         cardinal_temperature(temperature.value(), limits.t_min, limits.t_opt, limits.t_max) *
         cardinal_activity(activity, limits.a_min, limits.a_opt);
}

double progressed(double progress, double rate, double hours, double work, double half_life) {
  if (rate > 0.0) return progress + rate * hours / work;
  if (progress <= 0.0 || half_life <= 0.0) return progress;
  return progress * std::exp2(-hours / (24.0 * half_life));
}

}  // namespace torpor::rules::culture
