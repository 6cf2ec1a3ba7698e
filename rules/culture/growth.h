// How fast each guild of organisms works at a temperature and water activity, by cardinal models.
#pragma once

#include <array>
#include <string_view>

#include "rules/culture/profile.h"
#include "sensors/quantity.h"

namespace torpor::rules::culture {

// Cardinal temperature model with inflection, Rosso et al. 1993, J. Theor. Biol. 162:447. 0 outside
// (t_min, t_max), 1 at t_opt. Precondition: t_opt above the middle of t_min and t_max (else it
// leaves 0-1; Profile::check() refuses it).
[[nodiscard]] double cardinal_temperature(double t, double t_min, double t_opt, double t_max);
// The same form for water activity with 1 as its maximum (Rosso & Robinson 2001, M), held at 1 from
// a_opt upwards: a jar that dilutes itself does not stop working.
[[nodiscard]] double cardinal_activity(double a, double a_min, double a_opt);

// Stored: do not renumber.
enum class Guild { yeast = 0, lacto = 1, mould = 2, osmotolerant = 3 };
inline constexpr std::size_t kGuilds = 4;
[[nodiscard]] std::string_view guild_name(Guild guild);  // "common yeasts"

struct GuildLimits {
  double t_min, t_opt, t_max;
  double a_min, a_opt;
  double rate;  // 1/h at its best
};
[[nodiscard]] GuildLimits limits(Guild guild, const Parameters& set);
// Work from rest to the first sign a keeper can check: lag work plus ln of the growth needed.
[[nodiscard]] double work_to_first_sign(const Parameters& set);
// Rate, 1/h; >= 0.
[[nodiscard]] double growth_rate(const GuildLimits& limits, Celsius temperature, double activity);

// Progress towards the first sign after `hours` at a constant rate (1/h): it grows by rate x hours
// over the work, and halves every half-life (d; 0: never) while the rate is exactly zero. Zero rate
// consumes no work.
[[nodiscard]] double progressed(double progress, double rate, double hours, double work,
                                double half_life);

}  // namespace torpor::rules::culture
