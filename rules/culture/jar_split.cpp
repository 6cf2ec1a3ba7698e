// A jar filled from another. Part of JarModel; the stepping is in jar_model.cpp.
#include "rules/culture/jar_model.h"

namespace torpor::rules::culture {

JarModel JarModel::split_off(const JarRecipe& filled, Grams contents) const {
  JarModel parent = *this;
  parent.flush();
  parent.close_stretch();
  const JarState& from = parent.state_;
  JarModel other(profile_, filled, Duration(grid_));
  JarState& state = other.state_;

  // The culture is as old as it was, and as warm, tired and awake.
  state.closed_at = from.closed_at;
  state.has_temperature = from.has_temperature;
  state.heat = from.heat;
  state.kinetic = from.kinetic;
  state.coverage = from.coverage;
  state.covered_hours = from.covered_hours;
  state.hours = from.hours;
  state.settled_days = from.settled_days;
  state.seen_at = from.seen_at;
  state.seen_at[static_cast<std::size_t>(Sign::cracked)] = kNever;  // the vessel was another
  state.evidence_at = from.evidence_at;
  state.tested_at = from.tested_at;
  state.found_dead = from.found_dead;
  state.works_in_sugar = from.works_in_sugar || state.works_in_sugar;
  state.opened_at = from.consumed;
  // The season ahead is the same; the air of the last days was another vessel's.
  state.memory = from.memory;
  state.memory.forget_recent();

  const double share = from.contents_grams > 0.0 ? contents.value() / from.contents_grams : 0.0;
  state.contents_grams = contents.value();
  other.refit();
  for (std::size_t m = 0; m < kMembers; ++m) {
    Member& member = state.members[m];
    const Member& was = from.members[m];
    member.drift = was.drift;
    member.inversion_days = was.inversion_days;
    member.pace = was.pace;
    member.progress = was.progress;
    member.rate = was.rate;
    member.inner_dew_hours = was.inner_dew_hours;
    member.gained = share * was.gained;
    if (was.stack.empty()) continue;
    // Spooned over, topping and body are one.
    member.stack = LayerStack(share * was.stack.whole(), Mix{},
                              other.settings_[m].vessel.cross_section, other.chemistry(m));
  }
  return other;
}

}  // namespace torpor::rules::culture
