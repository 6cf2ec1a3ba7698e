#include "rules/culture/mix.h"

#include <algorithm>
#include <cmath>

#include "rules/culture/sorption.h"

namespace torpor::rules::culture {
namespace {

// Root of a non-decreasing function on [low, high] with f(low) <= 0 <= f(high): Illinois false
// position, kept inside a bracket that at least halves every second step. Converges for any
// continuous f; kSteps halvings alone reach the last bit of a double.
template <class F>
double bracketed_root(double low, double high, F f) {
  constexpr int kSteps = 120;
  double f_low = f(low);
  double f_high = f(high);
  for (int i = 0; i < kSteps && high - low > 1e-14 * (std::abs(low) + std::abs(high)); ++i) {
    double x = 0.5 * (low + high);
    if (i % 2 == 0 && f_high > f_low) {
      const double guess = low - f_low * (high - low) / (f_high - f_low);
      if (guess > low && guess < high) x = guess;
    }
    const double fx = f(x);
    if (fx == 0.0) return x;
    if (fx < 0.0) {
      low = x;
      f_low = fx;
    } else {
      high = x;
      f_high = fx;
    }
  }
  return 0.5 * (low + high);
}

bool saturated(const Mix& mix, double syrup_water, const Chemistry& chemistry) {
  return mix.sucrose > chemistry.sucrose_per_water * syrup_water;
}

// The model error of a set: relative, so that pure water stays the limit.
double reported(double activity, const Chemistry& chemistry) {
  return std::min(1.0, activity * (1.0 + chemistry.set->activity_error));
}

// Activity of the driest syrup: as water goes to nothing beside undissolved sucrose. 0 with invert,
// which holds the last water; the saturated value without; 1 where nothing dissolves.
double driest_syrup_activity(const Mix& mix, const Chemistry& chemistry) {
  if (mix.invert > 0.0) return 0.0;
  if (mix.sucrose <= 0.0) return 1.0;
  const double ratio = chemistry.sucrose_per_water * kMolarWater / kMolarSucrose;
  return saturated_activity(1.0, ratio, 0.0, chemistry.root_k_sucrose, chemistry.root_k_invert)
      .activity;
}

SolutionActivity syrup_activity(const Mix& mix, double syrup_water, const Chemistry& chemistry) {
  const double water = syrup_water / kMolarWater;
  const double invert = mix.invert / kMolarHexose;
  if (saturated(mix, syrup_water, chemistry)) {
    return saturated_activity(water, chemistry.sucrose_per_water * kMolarWater / kMolarSucrose,
                              invert, chemistry.root_k_sucrose, chemistry.root_k_invert);
  }
  return solution_activity(water, mix.sucrose / kMolarSucrose, invert, chemistry.root_k_sucrose,
                           chemistry.root_k_invert);
}

double total_water(const Mix& mix, double syrup_water, const Chemistry& chemistry) {
  const double activity = syrup_activity(mix, syrup_water, chemistry).activity;
  return syrup_water + mix.solids * sorbed_water(activity, *chemistry.set).water;
}

}  // namespace

Mix operator+(const Mix& a, const Mix& b) {
  return {a.water + b.water, a.sucrose + b.sucrose, a.invert + b.invert, a.solids + b.solids};
}

Mix operator*(double share, const Mix& mix) {
  return {share * mix.water, share * mix.sucrose, share * mix.invert, share * mix.solids};
}

Chemistry::Chemistry(const Parameters& parameters, Celsius temperature)
    : set(&parameters),
      root_k_sucrose(std::sqrt(parameters.norrish_sucrose)),
      root_k_invert(std::sqrt(parameters.norrish_invert)),
      sucrose_per_water(culture::sucrose_per_water(temperature)) {}

SyrupState syrup_state(const Mix& mix, double syrup_water, const Chemistry& chemistry) {
  const SolutionActivity syrup = syrup_activity(mix, syrup_water, chemistry);
  const Sorption bound = sorbed_water(syrup.activity, *chemistry.set);
  const double slope = std::max(0.0, syrup.per_mol_water) / kMolarWater;
  const double error = 1.0 + chemistry.set->activity_error;
  SyrupState state;
  state.activity = syrup.activity * error;
  state.activity_slope = slope * error;
  if (state.activity > 1.0) {
    state.activity = 1.0;
    state.activity_slope = 0.0;
  }
  state.water = syrup_water + mix.solids * bound.water;
  state.water_slope = 1.0 + mix.solids * bound.per_activity * slope;
  return state;
}

Equilibrium equilibrium(const Mix& mix, const Chemistry& chemistry) {
  const Parameters& set = *chemistry.set;
  Equilibrium result;
  if (mix.water <= 0.0) return {0.0, 0.0, mix.sucrose > 0.0 ? 0.0 : 1.0};
  const double driest = driest_syrup_activity(mix, chemistry);
  const double held_by_solids = mix.solids * sorbed_water(driest, set).water;
  if (held_by_solids >= mix.water) {  // no syrup at all: the solids hold every drop
    result.activity = reported(sorption_activity(mix.water / mix.solids, set), chemistry);
    result.dissolved_share = mix.sucrose > 0.0 ? 0.0 : 1.0;
    return result;
  }
  // Never evaluated at 0: the least syrup is far below any balance.
  const double least = 1e-12 * mix.water;
  result.syrup_water = bracketed_root(least, mix.water, [&](double syrup_water) {
    return total_water(mix, syrup_water, chemistry) - mix.water;
  });
  result.activity =
      reported(syrup_activity(mix, result.syrup_water, chemistry).activity, chemistry);
  if (mix.sucrose > 0.0) {
    result.dissolved_share =
        std::min(1.0, chemistry.sucrose_per_water * result.syrup_water / mix.sucrose);
  }
  return result;
}

std::optional<double> water_at_activity(const Mix& mix, double activity,
                                        const Chemistry& chemistry) {
  if (!(activity > 0.0) || activity >= 1.0) return std::nullopt;
  const double inner = activity / (1.0 + chemistry.set->activity_error);
  if (inner >= 1.0) return std::nullopt;
  const double bound = mix.solids * sorbed_water(inner, *chemistry.set).water;
  if (inner <= driest_syrup_activity(mix, chemistry)) return bound;
  const double solutes = mix.sucrose + mix.invert;
  // A syrup of 1e4 g water per g solute is within 1e-4 of pure water: beyond it no jar is meant.
  const double most = 1e4 * solutes;
  const auto short_of = [&](double syrup_water) {
    return syrup_activity(mix, syrup_water, chemistry).activity - inner;
  };
  if (short_of(most) < 0.0) return std::nullopt;
  return bound + bracketed_root(1e-12 * solutes, most, short_of);
}

double water_buffer(const Mix& mix, const Chemistry& chemistry) {
  if (mix.sucrose <= 0.0) return 0.0;
  const double syrup_water = mix.sucrose / chemistry.sucrose_per_water;
  return std::max(0.0, total_water(mix, syrup_water, chemistry) - mix.water);
}

double saturated_mix_activity(const Mix& mix, const Chemistry& chemistry) {
  if (mix.sucrose <= 0.0) return 1.0;
  const double syrup_water = mix.sucrose / chemistry.sucrose_per_water;
  return reported(syrup_activity(mix, syrup_water, chemistry).activity, chemistry);
}

Mix sugar_mix(double grams, SugarKind kind, const Parameters& set) {
  const SugarMakeup made_of = makeup(kind, set);
  return {grams * made_of.water, grams * made_of.sucrose, grams * made_of.invert, 0.0};
}

SugarNeed sugar_to_saturate(const Mix& rice, SugarKind kind, const Chemistry& chemistry) {
  const auto with = [&](double grams) { return rice + sugar_mix(grams, kind, *chemistry.set); };
  // Water that dissolving all of it would take, less the water there is: explicit, for at that
  // point the syrup's make-up is known.
  const auto surplus = [&](double grams) {
    const Mix mix = with(grams);
    if (mix.sucrose <= 0.0) return -mix.water;
    return total_water(mix, mix.sucrose / chemistry.sucrose_per_water, chemistry) - mix.water;
  };
  SugarNeed need;
  if (surplus(0.0) < 0.0) {
    // All water saturated by sugar of which at least half is surplus sucrose at any makeup allowed.
    const double most = 4.0 * chemistry.sucrose_per_water * rice.water;
    need.reaches = surplus(most) >= 0.0;
    need.sugar = need.reaches ? bracketed_root(0.0, most, surplus) : most;
  }
  need.activity = equilibrium(with(need.sugar), chemistry).activity;
  return need;
}

SugarNeed sugar_for(const Mix& rice, double target, SugarKind kind, const Chemistry& chemistry) {
  const auto activity = [&](double grams) {
    return equilibrium(rice + sugar_mix(grams, kind, *chemistry.set), chemistry).activity;
  };
  SugarNeed need;
  need.activity = activity(0.0);
  if (need.activity <= target) return need;
  const double most = kMostOverSaturation * sugar_to_saturate(rice, kind, chemistry).sugar;
  if (activity(most) > target) return {most, activity(most), false};
  need.sugar = bracketed_root(0.0, most, [&](double grams) { return target - activity(grams); });
  need.activity = activity(need.sugar);
  return need;
}

}  // namespace torpor::rules::culture
