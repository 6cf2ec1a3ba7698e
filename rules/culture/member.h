// One parameter set's jar: its layers, cover belief and clocks, and how a stretch of time changes
// them. The jar model and the forecast both advance members here, so they cannot differ.
#pragma once

#include <array>

#include "rules/culture/growth.h"
#include "rules/culture/layers.h"
#include "rules/culture/recipe.h"
#include "rules/culture/weighing.h"

namespace torpor::rules::culture {

// Air and contents averaged over a stretch of at most a few days; a few hours where air changes.
struct Stretch {
  double seconds = 0.0;
  double contents = 20.0;                // degC, mean
  double contents_saturation = 0.0;      // Pa
  double air = 20.0;                     // degC, mean
  double air_saturation = 0.0;           // Pa
  double vapour = 0.0;                   // Pa, of the time that was covered
  double covered_share = 0.0;            // of the time with a known humidity, 0-1
  bool wet_cover = false;                // outer dew stood on it
  std::array<double, kGuilds> warmth{};  // cardinal temperature factor of each guild, 0-1
};

struct Member {
  LayerStack stack;  // empty: no mix is known
  CoverBelief cover;
  double crust_loss = 0.0;  // g that left the surface and did not come back
  double gained = 0.0;      // g through the mouth since closing
  double gained_since_weighing = 0.0;
  double drift = 0.0;  // Pa, slow mean of outside minus inside
  double inversion_days = 0.0;
  double pace = 1.0;                       // of this jar's clocks; 'all well' slows it
  std::array<double, kGuilds> progress{};  // 1: first visible sign
  std::array<double, kGuilds> rate{};      // progress per hour, now
  double inner_dew_hours = 0.0;

  template <class Archive>
  void fields(Archive& archive) {
    stack.fields(archive);
    archive(cover.factor);
    archive(cover.variance);
    archive(crust_loss);
    archive(gained);
    archive(gained_since_weighing);
    archive(drift);
    archive(inversion_days);
    archive(pace);
    for (double& value : progress) archive(value);
    for (double& value : rate) archive(value);
    archive(inner_dew_hours);
  }
};

// The jar around the contents, as it is now, under one set.
struct Setting {
  const Parameters* set;
  // The set at the other end. While a jar dries, the cautious jar is the one whose cover passes
  // little; while it takes water, the one whose cover passes much: it takes the drying permeance
  // from the hopeful set, and the hopeful jar the other way round.
  const Parameters* opposite;
  Vessel vessel;
  Cover cover = Cover::paper;
  std::array<GuildLimits, kGuilds> guilds;
  double work = 1.0;
};
[[nodiscard]] Setting setting(const Profile& profile, std::size_t member, const Vessel& vessel,
                              Cover cover);

// Temperature of what stands between contents and air and follows the contents by `share`, degC.
[[nodiscard]] inline double between(double air, double contents, double share) {
  return air + share * (contents - air);
}

void advance(Member& member, const Stretch& stretch, const Setting& setting);

// The furthest of the waking clocks; slow work counts only where it was seen.
[[nodiscard]] double wake_progress(const Member& member, bool slow_work_counts);
[[nodiscard]] Guild leading_guild(const Member& member, bool slow_work_counts);

}  // namespace torpor::rules::culture
