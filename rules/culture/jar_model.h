// One jar through time: three coherent members stepped from reading to reading. Pure: no clock, no
// I/O; time comes in with the air. Not thread-safe; copying a jar is cheap (about 6 kB) and gives
// an independent one.
//
// How it stays exact and fast. Temperatures are lagged and air is averaged exactly with every
// change of the air; equal air is folded. Water and growth are stepped once a cell of a grid fixed
// in UTC (an hour) with those averages, and at each act. So the result depends on the air as a
// function of time and not on how readings were spaced; the grid's own error is bounded by a test.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <string_view>

#include <tl/expected.hpp>

#include "rules/culture/act.h"
#include "rules/culture/jar_state.h"
#include "rules/culture/verdict.h"

namespace torpor::rules::culture {

// Where a probe on a jar sits. A headspace humidity is an Observation; no probe on a jar is Air.
enum class ProbeSeat { culture, glass };

class JarModel {
 public:
  static constexpr Duration kGrid = std::chrono::hours(1);
  // Air that reads as the jar's own damp for so long, without a break, is a probe under the cover.
  static constexpr double kSuspectHours = 72.0;

  // Precondition: check_recipe(recipe) and profile->check() passed. `grid` other than kGrid is for
  // tests of the grid's error; it divides a day.
  JarModel(std::shared_ptr<const Profile> profile, const JarRecipe& recipe, Duration grid = kGrid);

  // A jar filled with `contents` of this one, stirred, at this one's at(): its water, work, harm
  // and age are this one's, and what was seen and tested counts on. Precondition: filled.closed ==
  // at().
  [[nodiscard]] JarModel split_off(const JarRecipe& filled, Grams contents) const;

  // As it was told when it was closed.
  [[nodiscard]] const JarRecipe& recipe() const { return recipe_; }
  // The time up to which the jar is known; starts at recipe.closed.
  [[nodiscard]] Instant at() const { return instant_of(state_.pending_until); }

  // `air` holds from at() to `until`. An `until` not after at() changes nothing.
  void step(const Air& air, Instant until);
  // Works in the air that is folded up to at(): who asks next need not. Results change by rounding
  // only, and where nobody speaks for the air a little with what is assumed of it.
  void work_in() { flush(); }
  // What was done or seen at `when`. Time between at() and `when` counts as uncovered; a `when`
  // before at() is taken as at() (late entries: restore a checkpoint before it and step again).
  void act(Instant when, const Act& act);
  void observe(Instant when, const Observation& observation);
  // A probe's temperature at at(). Outside -20 to 90 degC it is ignored.
  void probe(ProbeSeat seat, Celsius temperature);

  // A sentence if a weighing fits neither the gross nor the net weight the jar should have.
  [[nodiscard]] std::optional<std::string> doubt(const Weighing& weighing) const;

  // Figures and verdict at at(). The verdict makes a forecast (about a millisecond); the air ahead
  // is what the jar had lately.
  [[nodiscard]] Figures figures() const;
  [[nodiscard]] Verdict verdict() const;
  // Time to wake if it stood in steady air from now on: for 'what if it were moved'. nullopt
  // humidity: neither gains nor loses.
  [[nodiscard]] std::array<WakeTime, kMembers> time_to_wake_in(
      Celsius temperature, std::optional<Percent> humidity) const;
  // Sugar to stir in for an activity of at most `target`; nullopt without a known mix.
  [[nodiscard]] std::optional<std::array<SugarNeed, kMembers>> sugar_to(double target) const;
  // The mix as it stands, layers together.
  [[nodiscard]] std::optional<Mix> mix(std::size_t member) const;

  // The same for every model of this profile, recipe, grid and version of the equations: what was
  // worked out under another identity is not of this jar as it is understood now.
  [[nodiscard]] std::uint64_t identity() const;
  // All a later step depends on, as bytes; restore() into a model made with the same profile,
  // recipe and grid continues exactly. Error: bytes of another version, jar or profile, or damaged.
  [[nodiscard]] std::string snapshot() const;
  [[nodiscard]] tl::expected<void, std::string> restore(std::string_view bytes);

 private:
  friend class VerdictWriter;  // jar_verdict.cpp: reads the state it puts into words

  void flush();  // works pending air in
  void consume(const Air& air, std::int64_t until);
  void accumulate(const Air& air, double assumed, double seconds);
  void close_stretch();  // steps water and growth over the running cell
  void remember_air();
  void compare_with_own_damp(const AirHour& hour);
  void judge_probe();
  void bring_to(Instant when);  // uncovered up to `when`, everything worked in
  void refit();                 // vessel, lags and settings after an act
  void consider_prediction();
  void predict();
  void count_waking(Instant when);
  [[nodiscard]] bool settling() const;
  [[nodiscard]] bool air_is_suspect() const;
  [[nodiscard]] double assumed_temperature() const;
  [[nodiscard]] std::array<MemberForecast, kMembers> forecasts() const;

  void apply(Instant when, const AddSugar& act);
  void apply(Instant when, const Take& act);
  void apply(Instant when, const Open& act);
  void apply(Instant when, const ChangeCover& act);
  void apply(Instant when, const Move& act);
  void apply(Instant when, const Retire& act);
  void take_in(Instant when, const Look& look);
  void take_in(Instant when, const Weighing& weighing);
  void take_in(Instant when, const Level& level);
  void take_in(Instant when, const Headspace& headspace);
  void take_in(Instant when, const WakeTest& test);
  void take_sign(Instant when, Sign sign);
  void correct_surface(Sign sign);
  void found_well(Instant when);
  // Of the signs of waking noted up to `until` those that a look or fresh sugar answers. False:
  // some sign of waking is left.
  bool take_back_signs(std::int64_t until);
  [[nodiscard]] Chemistry chemistry(std::size_t member) const;

  // Constant after construction.
  std::shared_ptr<const Profile> profile_;
  JarRecipe recipe_;
  std::int64_t grid_;
  // Follow from recipe and state: see refit().
  std::array<Setting, kMembers> settings_;
  std::array<double, kMembers> tau_{};  // s
  // Decay of the lags over the last interval's length, which readings at a steady rate share.
  double decay_seconds_ = -1.0;
  std::array<double, kMembers> decay_{};
  JarState state_;
};

}  // namespace torpor::rules::culture
