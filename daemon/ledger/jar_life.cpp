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
  return rules::model_air(spoken);
}

bool earlier(const JarTold& a, const JarTold& b) { return a.at < b.at; }

}  // namespace

JarLife::JarLife(const Jar& jar, const Reader& history, std::span<const rules::PlaceSpec> places,
                 std::span<const Placement> placements,
                 std::shared_ptr<const rules::culture::Profile> profile)
    : jar_(jar),
      history_(history),
      places_(places),
      placements_(placements),
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
  return closed;
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
  for (std::size_t i = 0; i < placements_.size(); ++i) {
    const rules::SensorSpec& spec = placements_[i].spec;
    if (spec.jar != jar_.made.jar || spec.senses == Senses::air) continue;
    const auto next =
        std::find_if(placements_.begin() + static_cast<std::ptrdiff_t>(i) + 1, placements_.end(),
                     [&](const Placement& later) { return later.spec.id == spec.id; });
    const Instant from = std::max(placements_[i].from, after + Duration(1));
    const Instant to =
        std::min(next == placements_.end() ? Instant::max() : next->from, until + Duration(1));
    if (from >= to) continue;
    const bool headspace = spec.senses == Senses::headspace;
    const auto cursor = history_.readings(
        spec.id, headspace ? Quantity::humidity : Quantity::temperature, from, to);
    std::optional<Instant> newest;
    while (const auto reading = cursor->next()) {
      if (!reading->trusted()) continue;
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
  const std::vector<JarTold> all = told(model.at(), until);
  auto next = all.begin();
  const auto take_through = [&](Instant t) {
    for (; next != all.end() && next->at <= t; ++next) rules::take_in(model, *next);
  };
  (void)walk_exposure(jar_, model.at(), until, history_, places_, placements_,
                      [&](const ExposureStep& step) {
                        const rules::culture::Air air = model_air(step);
                        while (next != all.end() && next->at < step.to) {
                          model.step(air, next->at);
                          take_through(next->at);
                        }
                        model.step(air, step.to);
                      });
  take_through(until);
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
    see(model);
  }
  finish(model, to);
  see(model);
  return model;
}

}  // namespace torpor::daemon
