#include "rules/culture/member.h"

#include <algorithm>
#include <cmath>

#include "rules/air/psychrometrics.h"

namespace torpor::rules::culture {
namespace {

constexpr double kHour = 3600.0;
constexpr double kDay = 86400.0;
// Time constant of the drift that decides whether a jar is drying or taking water: a week, so that
// days that swing about the balance do not ratchet.
constexpr double kDriftTime = 7.0 * kDay;

// The activity a guild lives at: the wettest of the body, or the surface where air reaches it.
double activity_for(std::size_t guild, const Member& member, const Setting& setting) {
  if (guild != static_cast<std::size_t>(Guild::mould)) return member.stack.body_activity();
  return facts(setting.cover).airy ? member.stack.surface_activity() : 0.0;
}

Mouth mouth_now(const Member& member, const Stretch& stretch, const Setting& setting,
                double outside_humidity) {
  const Parameters& set = *setting.set;
  const CoverFacts& cover = facts(setting.cover);
  const Parameters& passes = member.drift < 0.0 ? *setting.opposite : set;
  Mouth mouth;
  mouth.area = setting.vessel.mouth_area;
  mouth.surface = setting.vessel.cross_section;
  mouth.headspace = setting.vessel.headspace;
  mouth.permeance = member.cover.factor * passes.*cover.permeance;
  if (cover.hygroscopic) {
    mouth.permeance *= damp_paper_factor(outside_humidity, passes);
    mouth.wet_cover = stretch.wet_cover;
  }
  mouth.crust = member.crust_loss / 1000.0 / (setting.vessel.cross_section * set.crust_density);
  return mouth;
}

// What condenses under a lid colder than the contents, and drips.
void drip_dew(Member& member, const Stretch& stretch, const Setting& setting) {
  const Parameters& set = *setting.set;
  const double share = facts(setting.cover).hygroscopic ? set.glass_share : set.lid_share;
  const Celsius cold(between(stretch.air, stretch.contents, share));
  // Contents colder than the lid cannot wet it, and most hours need no vapour pressure to know it.
  if (cold.value() >= stretch.contents) return;
  const double inside = member.stack.surface_activity() * stretch.contents_saturation;
  const double excess = inside - air::saturation_vapour_pressure(cold).value();
  if (excess <= 0.0) return;
  member.inner_dew_hours += stretch.seconds / kHour;
  Mouth open;
  open.area = setting.vessel.mouth_area;
  open.surface = setting.vessel.cross_section;
  open.headspace = setting.vessel.headspace;
  open.wet_cover = true;  // what condenses has not passed the cover
  const double rate = vapour_conductance(open, Celsius(stretch.contents), set) * excess;
  member.stack.drip(set.dew_drip_share * rate * stretch.seconds);
}

void exchange_with_air(Member& member, const Stretch& stretch, const Setting& setting,
                       const Chemistry& chemistry) {
  const Parameters& set = *setting.set;
  // A sensor's error is the same all the time, so it shifts the humidity; never past saturation.
  const double told = std::clamp(stretch.vapour + set.humidity_error * stretch.air_saturation, 0.0,
                                 stretch.air_saturation);
  double outside = told;
  double share = stretch.covered_share;
  if (set.uncovered_humidity > 0.0 && share < 1.0) {
    outside = share * told + (1.0 - share) * set.uncovered_humidity * stretch.air_saturation;
    share = 1.0;
  }
  const double inside = member.stack.surface_activity() * stretch.contents_saturation;
  if (share > 0.0) {
    const double settle = stretch.seconds / (kDriftTime + stretch.seconds);
    member.drift += settle * (outside - inside - member.drift);
  }
  LayerStack::Outside seen;
  seen.vapour = outside;
  seen.saturation = stretch.contents_saturation;
  if (share > 0.0) {
    const Mouth mouth =
        mouth_now(member, stretch, setting, outside / std::max(1.0, stretch.air_saturation));
    seen.conductance = share * vapour_conductance(mouth, Celsius(stretch.contents), set) *
                       stefan_factor(Pascal(inside), Pascal(outside), air::kStandardPressure);
  }
  const double gained = member.stack.exchange(seen, stretch.seconds, chemistry);
  member.gained += gained;
  member.gained_since_weighing += gained;
  member.crust_loss = std::max(0.0, member.crust_loss - gained);
}

void invert(Member& member, double days, const Parameters& set) {
  const bool early = member.inversion_days < set.inversion_early_days;
  const double share = early ? set.inversion_early : set.inversion_monthly;
  const double span = early ? set.inversion_early_days : 30.0;
  member.inversion_days += days;
  if (share > 0.0) member.stack.invert_sucrose(-std::expm1(std::log1p(-share) * days / span));
}

}  // namespace

Setting setting(const Profile& profile, std::size_t member, const Vessel& vessel, Cover cover) {
  Setting result;
  result.set = &profile.sets[member];
  result.opposite = &profile.sets[kMembers - 1 - member];
  result.vessel = vessel;
  result.cover = cover;
  for (std::size_t g = 0; g < kGuilds; ++g) {
    result.guilds[g] = limits(static_cast<Guild>(g), *result.set);
  }
  result.work = work_to_first_sign(*result.set);
  return result;
}

void advance(Member& member, const Stretch& stretch, const Setting& setting) {
  if (member.stack.empty()) return;
  const Parameters& set = *setting.set;
  const Chemistry chemistry(set, Celsius(stretch.contents));
  drip_dew(member, stretch, setting);
  invert(member, stretch.seconds / kDay, set);
  exchange_with_air(member, stretch, setting, chemistry);
  const double hours = stretch.seconds / kHour;
  for (std::size_t g = 0; g < kGuilds; ++g) {
    const GuildLimits& guild = setting.guilds[g];
    const double activity = activity_for(g, member, setting);
    double rate = 0.0;
    if (activity > guild.a_min && stretch.warmth[g] > 0.0) {
      rate = member.pace * guild.rate * stretch.warmth[g] *
             cardinal_activity(activity, guild.a_min, guild.a_opt);
    }
    member.rate[g] = rate / setting.work;
    // Unwatched time never makes a jar look better: progress rests then, it does not decay.
    const double decaying = rate > 0.0 ? hours : hours * stretch.covered_share;
    member.progress[g] =
        progressed(member.progress[g], rate, decaying, setting.work, set.progress_half_life);
  }
}

double wake_progress(const Member& member, bool slow_work_counts) {
  return member.progress[static_cast<std::size_t>(leading_guild(member, slow_work_counts))];
}

Guild leading_guild(const Member& member, bool slow_work_counts) {
  std::size_t leader = 0;
  const std::size_t counted = slow_work_counts ? kGuilds : kGuilds - 1;
  for (std::size_t g = 1; g < counted; ++g) {
    const bool ahead =
        member.progress[g] > member.progress[leader] ||
        (member.progress[g] == member.progress[leader] && member.rate[g] > member.rate[leader]);
    if (ahead) leader = g;
  }
  return static_cast<Guild>(leader);
}

}  // namespace torpor::rules::culture
