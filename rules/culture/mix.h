// Water shared by sugar and rice at one activity: the heart of "how sweet is sweet enough". A mix
// is masses; its equilibrium is found by a bracketed root that always converges.
#pragma once

#include <optional>

#include "rules/culture/profile.h"
#include "rules/culture/sugar.h"
#include "sensors/quantity.h"

namespace torpor::rules::culture {

// g of each; all finite and >= 0. `solids`: dry solids of rice that bind water.
struct Mix {
  double water = 0.0, sucrose = 0.0, invert = 0.0, solids = 0.0;
  [[nodiscard]] double mass() const { return water + sucrose + invert + solids; }
  friend bool operator==(const Mix&, const Mix&) = default;
};
[[nodiscard]] Mix operator+(const Mix& a, const Mix& b);
[[nodiscard]] Mix operator*(double share, const Mix& mix);

// What solving needs of a parameter set at one temperature, worked out once.
struct Chemistry {
  Chemistry(const Parameters& parameters, Celsius temperature);
  const Parameters* set;  // outlives this
  double root_k_sucrose, root_k_invert;
  double sucrose_per_water;  // g/g at saturation
};

// The state of a mix whose syrup holds `syrup_water` g, and how it changes with that.
struct SyrupState {
  double activity = 1.0;        // as reported: model error of the set included, at most 1
  double activity_slope = 0.0;  // per g syrup water
  double water = 0.0;           // total water, g: syrup and bound to solids
  double water_slope = 1.0;     // per g syrup water, >= 1
};
// Precondition: syrup_water > 0.
[[nodiscard]] SyrupState syrup_state(const Mix& mix, double syrup_water,
                                     const Chemistry& chemistry);

struct Equilibrium {
  double activity = 1.0;
  double syrup_water = 0.0;      // g not bound to solids
  double dissolved_share = 1.0;  // of the sucrose; 1 where there is none
};
[[nodiscard]] Equilibrium equilibrium(const Mix& mix, const Chemistry& chemistry);

// The water that gives the mix this activity, g; nullopt where no amount does (drier than 0, or
// more than pure water gives).
[[nodiscard]] std::optional<double> water_at_activity(const Mix& mix, double activity,
                                                      const Chemistry& chemistry);

// Water the mix can take before the last undissolved sucrose is gone, g; 0 where none is left.
[[nodiscard]] double water_buffer(const Mix& mix, const Chemistry& chemistry);
// The activity at the moment the last crystal dissolves; 1 without sucrose.
[[nodiscard]] double saturated_mix_activity(const Mix& mix, const Chemistry& chemistry);

// Sugar for rice. `rice` holds no sugar of the kind yet, or some; the answer is what to add.
struct SugarNeed {
  double sugar = 0.0;     // g of sugar as weighed, its own water included
  double activity = 1.0;  // what that gives
  bool reaches = true;    // false: no sugar gives the target; this is the most that helps
};
// The least sugar that leaves some undissolved.
[[nodiscard]] SugarNeed sugar_to_saturate(const Mix& rice, SugarKind kind,
                                          const Chemistry& chemistry);
// The least sugar for an activity of at most `target`. More than saturation plus 5 % only lies
// about undissolved, so that is the most it ever asks for.
[[nodiscard]] SugarNeed sugar_for(const Mix& rice, double target, SugarKind kind,
                                  const Chemistry& chemistry);
[[nodiscard]] Mix sugar_mix(double grams, SugarKind kind, const Parameters& set);

inline constexpr double kMostOverSaturation = 1.05;

}  // namespace torpor::rules::culture
