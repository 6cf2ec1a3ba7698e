// How acts and observations change a jar. Part of JarModel; the stepping is in jar_model.cpp.
#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "sensors/shown_number.h"

#include "rules/culture/jar_model.h"

namespace torpor::rules::culture {
namespace {

// A level this much higher than the last one is rising; less is the ruler.
constexpr double kRise = 5.0;  // mm
// The error of a probe or a scale that stands there does not average out: one correction a day is
// all it is worth.
constexpr std::int64_t kInstrumentEvery = std::int64_t{24} * 3600 * 1000;  // ms
// What a look at a firm crust is worth: its depth, and the activity it has dried to at most.
constexpr double kSeenCrust = 0.003;  // m
constexpr double kCrustActivity = 0.75;
// A wet surface has at least this activity for the cautious jar.
constexpr double kWetActivity = 0.90;
// 'All well' is evidence on the clock once half the predicted work is done.
constexpr double kHalfWay = 0.5;
// Weights told when a jar is made come from bowls and spoons that keep some: 1 %.
constexpr double kToldError = 0.01;
// Told this soon after a sign, 'all well' contradicts it: the sign counts until the next look.
constexpr std::int64_t kSameLook = 60 * 1000;  // ms
// A weighing off by more than this share of the jar is asked about.
constexpr double kOddShare = 0.25;

std::size_t index(Sign sign) { return static_cast<std::size_t>(sign); }

}  // namespace

void JarModel::bring_to(Instant when) {
  if (unix_ms(when) > state_.pending_until) step(Air(), when);
  flush();
  close_stretch();
}

void JarModel::act(Instant when, const Act& act) {
  bring_to(when);
  std::visit([&](const auto& one) { apply(at(), one); }, act);
  refit();
}

void JarModel::observe(Instant when, const Observation& observation) {
  bring_to(when);
  std::visit([&](const auto& one) { take_in(at(), one); }, observation);
  refit();
}

void JarModel::apply(Instant, const AddSugar& act) {
  if (!(act.sugar.value() > 0.0)) return;
  const SugarKind kind = act.kind.value_or(recipe_.sugar_kind.value_or(SugarKind::brown));
  for (std::size_t m = 0; m < kMembers; ++m) {
    const Mix sugar = sugar_mix(act.sugar.value(), kind, profile_->sets[m]);
    LayerStack& stack = state_.members[m].stack;
    if (act.stirred) {
      stack.stir_in(sugar, chemistry(m));
      state_.members[m].crust_loss = 0.0;
    } else {
      stack.add_topping(sugar, chemistry(m));
    }
  }
  state_.contents_grams += act.sugar.value();
  state_.acts_since_weighing += act.sugar.value();
  // Fresh sugar melts and the culture comes to rest again; what was seen has been answered.
  if (act.stirred) state_.settled_days = 0.0;
  (void)take_back_signs(state_.consumed);
  state_.predicted = false;
  state_.predicted_at = kNever;
  state_.last_level = -1.0;
}

void JarModel::apply(Instant when, const Take& act) {
  const double share = std::clamp(act.contents.value() / state_.contents_grams, 0.0, 0.99);
  for (std::size_t m = 0; m < kMembers; ++m) state_.members[m].stack.remove(share, chemistry(m));
  state_.acts_since_weighing -= share * state_.contents_grams;
  state_.contents_grams *= 1.0 - share;
  state_.opened_at = unix_ms(when);
  state_.last_level = -1.0;
}

void JarModel::apply(Instant when, const Open&) {
  state_.opened_at = state_.open_since = unix_ms(when);
}

void JarModel::apply(Instant when, const ChangeCover& act) {
  state_.cover = act.cover;
  state_.opened_at = unix_ms(when);
  state_.open_since = kNever;
  for (Member& member : state_.members) member.cover = CoverBelief{};
}

void JarModel::apply(Instant, const Move&) {
  state_.memory.forget_recent();
  state_.own_damp_hours = 0.0;
}

void JarModel::apply(Instant when, const Retire&) { state_.retired_at = unix_ms(when); }

void JarModel::take_in(Instant when, const Look& look) {
  // 'All well' told together with a sign is the lesser word.
  const bool worked = std::any_of(look.signs.begin(), look.signs.end(),
                                  [](Sign sign) { return facts(sign).weight != Weight::none; });
  for (const Sign sign : look.signs) {
    if (sign == Sign::all_well && worked) continue;
    take_sign(when, sign);
  }
}

void JarModel::take_sign(Instant when, Sign sign) {
  state_.seen_at[index(sign)] = unix_ms(when);
  if (sign == Sign::all_well) {
    found_well(when);
    return;
  }
  correct_surface(sign);
  const SignFacts& about = facts(sign);
  if (about.weight == Weight::none || (settling() && about.normal_while_settling)) return;
  if (about.weight == Weight::strong) count_waking(when);
  state_.evidence_at[index(sign)] = unix_ms(when);
  const LayerStack& stack = state_.members[kLikely].stack;
  const bool gassy = sign == Sign::bubbling || sign == Sign::pressure;
  if (gassy && !stack.empty() && water_buffer(stack.body_mix(), chemistry(kLikely)) > 0.0) {
    state_.works_in_sugar = true;
  }
}

void JarModel::count_waking(Instant when) {
  const bool first = std::all_of(state_.evidence_at.begin(), state_.evidence_at.end(),
                                 [](std::int64_t at) { return at == kNever; });
  if (!first) return;
  const bool standing = state_.predicted;
  score_waking(state_.score, standing ? std::optional<Prediction>(state_.prediction) : std::nullopt,
               when);
  state_.predicted = false;
}

// What spoils stays, and gas under a lid that holds it: no look shows that it has gone.
bool JarModel::take_back_signs(std::int64_t until) {
  const bool holds_gas = !facts(state_.cover).vents_gas;
  bool all = true;
  for (std::size_t s = 0; s < kSigns; ++s) {
    std::int64_t& at = state_.evidence_at[s];
    const SignFacts& about = facts(static_cast<Sign>(s));
    if (at == kNever) continue;
    if (about.spoils || (about.gas && holds_gas) || at > until) {
      all = false;
      continue;
    }
    at = kNever;
  }
  if (state_.evidence_at[index(Sign::self_heating)] == kNever) state_.self_heating.reset();
  return all;
}

void JarModel::found_well(Instant when) {
  if (!take_back_signs(unix_ms(when) - kSameLook)) return;
  if (state_.predicted && score_all_well(state_.score, state_.prediction, when)) {
    state_.predicted = false;
    state_.predicted_at = kNever;
  }
  for (Member& member : state_.members) {
    const double progress = wake_progress(member, state_.works_in_sugar);
    if (progress <= kHalfWay) continue;
    // The work this jar needs is more than was thought: by half as much again as was done beyond
    // half way. p becomes p/(p + 1/2): continuous at 1/2, below 1 always, and the further member
    // stays the further one.
    const double slower = 1.0 / (progress + kHalfWay);
    member.pace *= slower;
    for (double& clock : member.progress) clock *= slower;
  }
}

void JarModel::correct_surface(Sign sign) {
  for (std::size_t m = 0; m < kMembers; ++m) {
    Member& member = state_.members[m];
    if (member.stack.empty()) continue;
    const Chemistry own = chemistry(m);
    const double saturated = saturated_mix_activity(member.stack.surface().mix, own);
    // The cautious jar believes a reassuring look only as far as a sensor.
    const double trust = m == kCautious ? profile_->sets[m].headspace_weight : 1.0;
    const double now = member.stack.surface_activity();
    switch (sign) {
      case Sign::crystals:
        if (now > saturated) member.stack.pull_surface_to(saturated, trust, own);
        break;
      case Sign::crust:
        member.crust_loss = std::max(member.crust_loss, trust * kSeenCrust * 1000.0 *
                                                            settings_[m].vessel.cross_section *
                                                            profile_->sets[m].crust_density);
        if (now > kCrustActivity) member.stack.pull_surface_to(kCrustActivity, 0.5 * trust, own);
        break;
      case Sign::syrup_on_top:
      case Sign::wet_surface:
        member.crust_loss = 0.0;
        if (now < saturated) member.stack.pull_surface_to(saturated, 1.0, own);
        if (sign == Sign::wet_surface && m == kCautious && now < kWetActivity) {
          member.stack.pull_surface_to(kWetActivity, 0.5, own);
        }
        break;
      default:
        break;
    }
  }
}

std::optional<std::string> JarModel::doubt(const Weighing& weighing) const {
  const double weight = weighing.weight.value();
  if (!std::isfinite(weight) || weight <= 0.0) {
    return fmt::format("{} g is no weight of a jar", weight);
  }
  const double expected =
      state_.last_net >= 0.0 ? state_.last_net + state_.acts_since_weighing : state_.contents_grams;
  const bool gross_unknown = weighing.with_vessel && state_.vessel_grams <= 0.0;
  const double net = weighing.with_vessel ? weight - state_.vessel_grams : weight;
  const bool odd = gross_unknown ? weight < expected * (1.0 - kOddShare)
                                 : std::abs(net - expected) > kOddShare * expected;
  if (!odd) return std::nullopt;
  return fmt::format(
      "{} g {} does not fit: about {:.0f} g of contents{} were expected; was it weighed {}?",
      shown_number(weight, 0), weighing.with_vessel ? "with the vessel" : "without the vessel",
      expected,
      state_.vessel_grams > 0.0 ? fmt::format(" in a vessel of {:.0f} g", state_.vessel_grams)
                                : std::string(),
      weighing.with_vessel ? "without the vessel" : "with the vessel");
}

void JarModel::take_in(Instant when, const Weighing& weighing) {
  const double weight = weighing.weight.value();
  if (!std::isfinite(weight) || weight <= 0.0) return;
  const bool lately =
      state_.weighed_at != kNever && unix_ms(when) - state_.weighed_at < kInstrumentEvery;
  if (weighing.by_itself && lately) return;
  state_.weighed_at = unix_ms(when);
  const Parameters& likely = profile_->sets[kLikely];
  const double gained = state_.members[kLikely].gained_since_weighing;
  const double told = state_.contents_grams + gained;
  if (weighing.with_vessel && state_.vessel_grams <= 0.0) {
    // The first gross weight is the baseline: the vessel is what is left.
    state_.vessel_grams = std::max(1.0, weight - told);
    state_.last_net = told;
    state_.contents_grams = told;
    state_.acts_since_weighing = 0.0;
    for (Member& member : state_.members) member.gained_since_weighing = 0.0;
    return;
  }
  const bool first = state_.last_net < 0.0;
  const double net = weighing.with_vessel ? weight - state_.vessel_grams : weight;
  const double before =
      first ? state_.contents_grams : state_.last_net + state_.acts_since_weighing;
  const double one = scale_deviation(weight, likely);
  const double deviation =
      first ? std::hypot(one, kToldError * state_.contents_grams) : std::sqrt(2.0) * one;
  double gas = 0.0;
  for (std::size_t m = 0; m < kMembers; ++m) {
    Member& member = state_.members[m];
    if (member.stack.empty()) continue;
    const WeighingUpdate update =
        weigh(member.cover, member.gained_since_weighing, net - before, deviation, m != kCautious);
    member.cover = update.belief;
    const double added = member.stack.add_water(update.water, chemistry(m));
    member.gained += added;
    member.crust_loss = std::max(0.0, member.crust_loss - added);
    if (m == kLikely) gas = update.gas;
    member.gained_since_weighing = 0.0;
  }
  state_.last_net = net;
  state_.contents_grams = std::max(1.0, net);
  state_.acts_since_weighing = 0.0;
  state_.gas_lost += gas;
  if (gas > 0.0) take_sign(when, Sign::gas_loss);
}

void JarModel::take_in(Instant when, const Level& level) {
  if (!std::isfinite(level.millimetres) || level.millimetres < 0.0) return;
  const bool rose = state_.last_level >= 0.0 && level.millimetres - state_.last_level >= kRise;
  state_.last_level = level.millimetres;
  if (rose) take_sign(when, Sign::rising);
}

void JarModel::take_in(Instant when, const Headspace& headspace) {
  const double humidity = headspace.humidity.value() / 100.0;
  if (!(humidity > 0.0 && humidity <= 1.0)) return;
  if (state_.headspace_at != kNever && unix_ms(when) - state_.headspace_at < kInstrumentEvery) {
    return;
  }
  state_.headspace_at = unix_ms(when);
  for (std::size_t m = 0; m < kMembers; ++m) {
    Member& member = state_.members[m];
    if (member.stack.empty()) continue;
    // It can make the cautious jar wetter, never drier.
    if (m == kCautious && humidity <= member.stack.surface_activity()) continue;
    member.stack.pull_surface_to(humidity, profile_->sets[m].headspace_weight, chemistry(m));
  }
}

void JarModel::take_in(Instant when, const WakeTest& test) {
  state_.tested_at = unix_ms(when);
  state_.found_dead = !test.lively;
  if (!test.lively) return;
  for (HeatState& heat : state_.heat) heat.hours_above.fill(0.0);
}

}  // namespace torpor::rules::culture
