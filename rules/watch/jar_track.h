// One jar's model on the engine's time. Its figures are looked at once an hour (UTC) and whenever a
// person told something, and hold until the next look; they are worked out when asked for.
//
//   base ------------- looks, hour by hour -------------> head ...... asked for
//   |  never taken back                 |  taken back when the air of that time, or what was told
//   |                                   |  of it, becomes known later
//
// The base follows the readings at the distance `late`, as far as they may still change. What is
// told of a time before the base makes the track outdated: its daemon works the model out anew from
// the history (JarModelInput), and until then rules know nothing of the jar.
#pragma once

#include <cstdint>
#include <deque>
#include <functional>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "rules/watch/air_timeline.h"
#include "rules/watch/evaluator.h"
#include "rules/watch/jar_figures.h"
#include "rules/watch/jar_told.h"

namespace torpor::rules {

// The jar's air at a moment and until when it is that.
using JarAir = std::function<AirTimeline::Held(Instant)>;

class JarTrack {
 public:
  static constexpr Duration kLookEvery = culture::JarModel::kGrid;

  JarTrack(std::shared_ptr<const culture::Profile> profile, const culture::JarRecipe& recipe);
  // Begun from `model`, which was made with them and stands at recipe.closed.
  JarTrack(std::shared_ptr<const culture::Profile> profile, const culture::JarRecipe& recipe,
           culture::JarModel model);

  // False: it is of a time that cannot be taken back: outdate() the track.
  bool tell(const JarTold& told);
  // What people told from `from` on, as far as the base has not taken it in.
  void forget_told(Instant from);
  // The air from `from` on is other than it was thought to be. True: something that rules have seen
  // is taken back.
  bool air_changed(Instant from);

  // As the rules see it at `t`, not before the base.
  [[nodiscard]] Signal signal(RuleQuantity quantity, Instant t, const JarAir& air);
  // The model brought to `t`.
  [[nodiscard]] culture::JarModel model_at(Instant t, const JarAir& air) const;

  // Nothing before `horizon` changes any more. True: the base moved on.
  bool settle(Instant horizon, const JarAir& air);
  [[nodiscard]] Instant base() const { return base_.at(); }
  [[nodiscard]] const culture::JarModel& base_model() const { return base_; }

  // ---- working it out anew ----------------------------------------------------------------------
  // Each call takes a new revision; only a model of the newest one is taken.
  // `from`: the earliest thing concerned; `until`: how far the new model is to reach, a look's time
  // up to which nothing is expected to change.
  void outdate(Instant from, Instant until);
  [[nodiscard]] Instant outdated_from() const { return outdated_from_; }
  [[nodiscard]] Instant outdated_until() const { return outdated_until_; }
  [[nodiscard]] bool outdated() const { return outdated_; }
  [[nodiscard]] std::uint64_t revision() const { return revision_; }
  // Error, and nothing changes: not this jar's, or damaged.
  [[nodiscard]] tl::expected<void, std::string> replace(std::uint64_t revision,
                                                        std::string_view model);

  // ---- for the snapshot -------------------------------------------------------------------------
  struct Saved {
    std::vector<JarTold> told;  // after the base
    JarFigures look;            // at the base
    std::uint64_t revision = 0;
    bool outdated = false;
    Instant outdated_from{}, outdated_until{};
  };
  [[nodiscard]] Saved save(const JarAir& air);
  // `model` is the base's snapshot().
  [[nodiscard]] tl::expected<void, std::string> restore(Saved saved, std::string_view model);
  // As it was closed, and past every model that was asked for before.
  void begin_anew(std::uint64_t revision) { revision_ = revision; }
  [[nodiscard]] const culture::JarRecipe& recipe() const { return recipe_; }

 private:
  void bring_looks_to(Instant t, const JarAir& air);
  [[nodiscard]] Instant next_look() const;
  bool take_back(Instant from);

  std::shared_ptr<const culture::Profile> profile_;
  culture::JarRecipe recipe_;
  culture::JarModel base_;
  culture::JarModel head_;        // at looks_.back()
  bool head_is_ahead_ = false;    // of looks_.back(): looks were taken back
  std::deque<JarFigures> looks_;  // the first one at the base; empty: not looked at yet
  std::vector<JarTold> told_;     // after the base, by time
  std::uint64_t revision_ = 0;
  bool outdated_ = false;
  Instant outdated_from_{}, outdated_until_{};
};

}  // namespace torpor::rules
