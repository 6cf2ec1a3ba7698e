#include "rules/watch/jar_track.h"

#include <algorithm>

namespace torpor::rules {
namespace {

Instant look_after(Instant t) {
  const std::int64_t every = JarTrack::kLookEvery.count();
  const std::int64_t at = unix_ms(t);
  return instant_of(at - (((at % every) + every) % every) + every);
}

Instant look_before(Instant t) { return look_after(t) - JarTrack::kLookEvery; }

// Looks that are worth working out one by one when the base moves far at once.
constexpr int kMostLooks = 48;

std::vector<JarTold>::const_iterator after(const std::vector<JarTold>& told, Instant t) {
  return std::upper_bound(told.begin(), told.end(), t,
                          [](Instant at, const JarTold& each) { return at < each.at; });
}

// Steps through the air and takes in what was told in (model.at(), until]. Of one moment the air
// comes first, then what was told, in the order of telling.
void carry(culture::JarModel& model, const std::vector<JarTold>& told, Instant until,
           const JarAir& air) {
  // Worked in at every look, whether it is looked at or not: equal inputs, equal bits.
  const auto step_to = [&](Instant end) {
    while (model.at() < end) {
      const AirTimeline::Held held = air(model.at());
      const Instant look = look_after(model.at());
      model.step(held.air, std::min({end, held.until, look}));
      if (model.at() == look) model.work_in();
    }
  };
  const Instant start = model.at();
  auto next = after(told, start);
  for (; next != told.end() && next->at <= until; ++next) {
    step_to(next->at);
    take_in(model, *next);
  }
  step_to(until);
}

}  // namespace

JarTrack::JarTrack(std::shared_ptr<const culture::Profile> profile,
                   const culture::JarRecipe& recipe)
    : profile_(std::move(profile)), recipe_(recipe), base_(profile_, recipe), head_(base_) {}

JarTrack::JarTrack(std::shared_ptr<const culture::Profile> profile,
                   const culture::JarRecipe& recipe, culture::JarModel model)
    : profile_(std::move(profile)), recipe_(recipe), base_(std::move(model)), head_(base_) {}

bool JarTrack::tell(const JarTold& told) {
  const Instant fixed = outdated_ ? std::max(base_.at(), outdated_until_) : base_.at();
  if (told.at <= fixed && told.at > recipe_.closed) return false;
  JarTold kept = told;
  // What was told of the time before it was closed belongs to the closing.
  kept.at = std::max(told.at, base_.at() + Duration(1));
  told_.insert(after(told_, kept.at), kept);
  (void)take_back(kept.at);
  return true;
}

void JarTrack::forget_told(Instant from) {
  std::erase_if(told_, [&](const JarTold& each) { return each.at >= from && !each.by_sensor; });
  (void)take_back(from);
}

void JarTrack::outdate(Instant from, Instant until) {
  outdated_from_ = outdated_ ? std::min(outdated_from_, from) : from;
  outdated_until_ = std::max(look_before(until), base_.at());
  outdated_ = true;
  ++revision_;
}

bool JarTrack::air_changed(Instant from) {
  // A look at `from` itself has used the air up to `from`.
  return take_back(from + Duration(1));
}

// Looks at or after `from`, but the base's own, are not valid any more.
bool JarTrack::take_back(Instant from) {
  bool taken = false;
  while (looks_.size() > 1 && looks_.back().at >= from) {
    looks_.pop_back();
    head_is_ahead_ = taken = true;
  }
  return taken;
}

Instant JarTrack::next_look() const {
  const Instant last = looks_.back().at;
  Instant next = look_after(last);
  for (const JarTold& each : told_) {
    if (each.at > last && !each.by_sensor) {
      next = std::min(next, each.at);
      break;
    }
  }
  return next;
}

void JarTrack::bring_looks_to(Instant t, const JarAir& air) {
  if (looks_.empty()) looks_.push_back(figures_of(base_, nullptr));
  if (head_is_ahead_) {
    head_ = base_;
    carry(head_, told_, looks_.back().at, air);
    head_is_ahead_ = false;
  }
  for (Instant next = next_look(); next <= t; next = next_look()) {
    const JarFigures& last = looks_.back();
    carry(head_, told_, next, air);
    const bool told = std::any_of(told_.begin(), told_.end(), [&](const JarTold& each) {
      return !each.by_sensor && each.at > last.at && each.at <= next;
    });
    looks_.push_back(figures_of(head_, told ? nullptr : &last));
  }
}

Signal JarTrack::signal(RuleQuantity quantity, Instant t, const JarAir& air) {
  bring_looks_to(t, air);
  auto after = std::upper_bound(looks_.begin(), looks_.end(), t,
                                [](Instant at, const JarFigures& look) { return at < look.at; });
  const JarFigures& look = after == looks_.begin() ? *after : *(after - 1);
  const Instant until = after == looks_.end() ? next_look() : after->at;
  if (source_of(quantity) == Source::telling) {
    const auto origin = look.origin(quantity);
    return origin ? Signal{0.0, true, *origin, until} : Signal{0.0, false, {}, until};
  }
  return {look.value(quantity), false, {}, until};
}

// Leaves no look behind: who asks must not change what rules see.
culture::JarModel JarTrack::model_at(Instant t, const JarAir& air) const {
  const bool from_head = !head_is_ahead_ && head_.at() <= t;
  culture::JarModel model = from_head ? head_ : base_;
  carry(model, told_, std::max(t, model.at()), air);
  return model;
}

bool JarTrack::settle(Instant horizon, const JarAir& air) {
  const Instant to = look_before(horizon);
  if (outdated_ || to <= base_.at()) return false;
  if (to - base_.at() > kMostLooks * kLookEvery) {
    // Nobody needs the hours of a time that was not watched.
    carry(base_, told_, to, air);
    looks_ = {figures_of(base_, nullptr)};
    head_ = base_;
    head_is_ahead_ = false;
  } else {
    bring_looks_to(to, air);
    if (!head_is_ahead_ && head_.at() == to) {
      base_ = head_;
    } else {
      carry(base_, told_, to, air);
    }
    while (looks_.size() > 1 && looks_[1].at <= to) looks_.pop_front();
  }
  told_.erase(told_.begin(), after(told_, to));
  return true;
}

tl::expected<void, std::string> JarTrack::replace(std::uint64_t revision, std::string_view model) {
  if (revision != revision_ || !outdated_) return {};
  culture::JarModel fresh(profile_, recipe_);
  if (auto restored = fresh.restore(model); !restored) return restored;
  base_ = std::move(fresh);
  looks_.clear();
  head_ = base_;
  head_is_ahead_ = false;
  told_.erase(told_.begin(), after(told_, base_.at()));
  outdated_ = false;
  return {};
}

JarTrack::Saved JarTrack::save(const JarAir& air) {
  bring_looks_to(base_.at(), air);
  return {told_, looks_.front(), revision_, outdated_, outdated_from_, outdated_until_};
}

tl::expected<void, std::string> JarTrack::restore(Saved saved, std::string_view model) {
  culture::JarModel base(profile_, recipe_);
  if (auto restored = base.restore(model); !restored) return restored;
  base_ = std::move(base);
  head_ = base_;
  head_is_ahead_ = false;
  looks_ = {saved.look};
  told_ = std::move(saved.told);
  revision_ = saved.revision;
  outdated_ = saved.outdated;
  outdated_from_ = saved.outdated_from;
  outdated_until_ = saved.outdated_until;
  return {};
}

}  // namespace torpor::rules
