#include "daemon/ledger/jar_life.h"

#include <algorithm>

#include "daemon/ledger/exposure.h"

namespace torpor::daemon {
namespace {

using rules::JarTold;
using rules::culture::JarModel;

rules::culture::Air model_air(const ExposureStep& step) {
  rules::SpokenAir spoken;
  spoken.temperature = step.temperature;
  spoken.humidity = step.humidity;
  spoken.humid_temperature = step.humid_temperature;
  spoken.temperature_error = step.temperature_error;
  spoken.humidity_error = step.humidity_error;
  return rules::model_air(spoken);
}

bool earlier(const JarTold& a, const JarTold& b) { return a.at < b.at; }

// Steps a model through the air, up to `end`, and takes in what was told on the way.
class Stepping {
 public:
  // `told` by time, all after model.at().
  Stepping(JarModel& model, std::vector<JarTold> told, Instant end)
      : model_(model), told_(std::move(told)), next_(told_.begin()), end_(end) {}

  void step(const ExposureStep& step) {
    const Instant to = std::min(step.to, end_);
    if (to <= model_.at()) return;
    const rules::culture::Air air = model_air(step);
    while (next_ != told_.end() && next_->at < to) {
      model_.step(air, next_->at);
      take_through(next_->at);
    }
    model_.step(air, to);
  }
  void finish() { take_through(end_); }

 private:
  void take_through(Instant t) {
    for (; next_ != told_.end() && next_->at <= t; ++next_) rules::take_in(model_, *next_);
  }

  JarModel& model_;
  std::vector<JarTold> told_;
  std::vector<JarTold>::const_iterator next_;
  Instant end_;
};

}  // namespace

JarLife::JarLife(const Jar& jar, std::span<const Jar> split_line, const StoodAir& air,
                 std::shared_ptr<const rules::culture::Profile> profile)
    : jar_(jar),
      split_line_(split_line),
      air_(air),
      history_(air.history()),
      profile_(std::move(profile)) {}

// A stored state of another profile or recipe is passed over: it leads elsewhere.
JarModel JarLife::start(Instant until) const {
  JarModel closed(profile_, jar_.recipe());
  if (const auto stored = history_.jar_model(jar_.made.jar)) {
    JarModel model = closed;
    if (model.restore(*stored) && model.at() <= until) return model;
  }
  if (const auto stored = history_.jar_checkpoint_before(jar_.made.jar, until)) {
    JarModel model = closed;
    if (model.restore(stored->bytes) && model.at() <= until) return model;
  }
  if (!jar_.split || split_line_.empty()) return closed;
  // Its culture begins in the other jar, as that was before this was taken out of it. Both are of
  // one stage, so that they share the profile.
  Jar whole = split_line_.front();
  std::erase_if(whole.events, [this](const JarEvent& event) { return event.entry == jar_.entry; });
  const JarLife parent(whole, split_line_.subspan(1), air_, profile_);
  JarModel model = parent.start(jar_.split->at - Duration(1));
  parent.finish(model, jar_.split->at);
  return model.split_off(jar_.recipe(), jar_.split->contents);
}

std::vector<JarTold> JarLife::told(Instant after, Instant until) const {
  std::vector<JarTold> all;
  const auto add = [&](Instant at, auto what) {
    if (at > after && at <= until) all.push_back({at, std::move(what), false});
  };
  for (const JarEvent& event : jar_.events) {
    std::visit([&](const auto& what) { add(event.at, what); }, event.what);
  }
  for (std::size_t i = 1; i < jar_.stays.size(); ++i) {
    add(jar_.stays[i].from, rules::culture::Act(rules::culture::Move{}));
  }
  add_probes(all, after, until);
  std::stable_sort(all.begin(), all.end(), earlier);
  return all;
}

void JarLife::add_probes(std::vector<JarTold>& told, Instant after, Instant until) const {
  using rules::Senses;
  const std::span<const Placement> placements = air_.placements();
  for (std::size_t i = 0; i < placements.size(); ++i) {
    const rules::SensorSpec& spec = placements[i].spec;
    if (spec.jar != jar_.made.jar || spec.senses == Senses::air) continue;
    const auto next =
        std::find_if(placements.begin() + static_cast<std::ptrdiff_t>(i) + 1, placements.end(),
                     [&](const Placement& later) { return later.spec.id == spec.id; });
    const Instant from = std::max(placements[i].from, after + Duration(1));
    const Instant to =
        std::min(next == placements.end() ? Instant::max() : next->from, until + Duration(1));
    if (from >= to) continue;
    const bool headspace = spec.senses == Senses::headspace;
    const auto cursor = history_.readings(
        spec.id, headspace ? Quantity::humidity : Quantity::temperature, from, to);
    std::optional<Instant> newest;
    while (auto reading = cursor->next()) {
      if (!reading->trusted()) continue;
      reading->raw = corrected(air_.calibrations(), *reading);
      reading->unit = facts(reading->quantity).unit;
      const auto by_probe = rules::told_by(spec, *reading);
      if (!by_probe) continue;
      // As the engine takes it.
      if (headspace && newest && by_probe->at < *newest + rules::kHeadspaceEvery) continue;
      newest = by_probe->at;
      told.push_back(*by_probe);
    }
  }
}

void JarLife::carry(JarModel& model, Instant until) const {
  if (model.at() >= until) return;
  Stepping stepping(model, told(model.at(), until), until);
  (void)air_.walk(jar_, model.at(), until, [&](const ExposureStep& step) { stepping.step(step); });
  stepping.finish();
}

// To `until`, or to where it was retired.
void JarLife::finish(JarModel& model, Instant until) const {
  carry(model, jar_.retired_at ? std::min(until, *jar_.retired_at) : until);
  if (jar_.retired_at && *jar_.retired_at <= until) {
    model.act(*jar_.retired_at, rules::culture::Retire{});
  }
}

JarModel JarLife::at(Instant until) const {
  JarModel model = start(jar_.retired_at ? std::min(until, *jar_.retired_at) : until);
  finish(model, until);
  return model;
}

JarModel JarLife::walk(Instant from, Instant to, Duration every, const See& see) const {
  JarModel model = at(from);
  for (Instant t = from; t < to; t += every) {
    carry(model, t);
    model.work_in();  // else each look works in all the steady air since the last change
    see(model);
  }
  finish(model, to);
  see(model);
  return model;
}

std::uint64_t JarLife::identity() const { return JarModel(profile_, jar_.recipe()).identity(); }

std::map<std::chrono::sys_days, JarDay> JarLife::stored_days(Instant from, Instant to) const {
  using std::chrono::days;
  const auto number = [](Instant t) {
    return std::chrono::floor<days>(t).time_since_epoch().count();
  };
  const std::uint64_t own = identity();
  std::map<std::chrono::sys_days, JarDay> known;
  for (const StoredJarDay& stored :
       history_.jar_days(jar_.made.jar, number(from + days(1) - Duration(1)), number(to) - 1)) {
    const std::chrono::sys_days day{days(stored.day)};
    auto read = jar_day_of(stored.bytes, own);
    if (read && read->from == day && read->to == day + days(1))
      known.emplace(day, std::move(*read));
  }
  return known;
}

JarDay JarLife::step_day(JarModel& model, Instant from, Instant to) const {
  const Instant end = jar_.retired_at ? std::min(to, *jar_.retired_at) : to;
  JarDay day{from, to, {}, {}, {}};
  Stepping stepping(model, told(model.at(), end), end);
  const Instant noon = std::chrono::floor<std::chrono::days>(from) + kHalfDay;
  for (Instant at = from; at < to;) {
    ExposureTotals air;
    HalfDay half{at, at < noon ? std::min(noon, to) : to, {}, {}};
    (void)air_.walk(jar_, half.from, half.to, [&](const ExposureStep& step) {
      air.add(step);
      half.steps.push_back(step);
      stepping.step(step);
    });
    half.covered = air.covered;
    half.steps = thin(std::move(half.steps), kStepsOfHalfDay);
    at = half.to;
    day.air.add(air);
    day.halves.push_back(std::move(half));
  }
  stepping.finish();
  finish(model, to);
  model.work_in();
  day.end = life_point(model);
  return day;
}

JarModel JarLife::days(Instant from, Instant to, const SeeDay& see) const {
  const auto stored = stored_days(from, to);
  std::optional<JarModel> model;  // at `stepped_to`
  Instant stepped_to = from;
  for (Instant at = from; at < to;) {
    const std::chrono::sys_days day = std::chrono::floor<std::chrono::days>(at);
    const auto known = stored.find(day);
    const Instant end = std::min<Instant>(to, day + std::chrono::days(1));
    if (known != stored.end() && at == day) {
      see(known->second, true);
    } else {
      if (!model || stepped_to != at) model = this->at(at);
      see(step_day(*model, at, end), false);
      stepped_to = end;
    }
    at = end;
  }
  return model && stepped_to == to ? std::move(*model) : at(to);
}

}  // namespace torpor::daemon
