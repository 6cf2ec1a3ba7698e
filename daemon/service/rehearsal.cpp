#include "daemon/service/rehearsal.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <memory>
#include <tuple>
#include <utility>

#include "daemon/ledger/jar_inputs.h"
#include "daemon/report/alert_json.h"

namespace torpor::daemon {
namespace {

// Readings between two calls of the progress function: some milliseconds' worth.
constexpr std::uint64_t kReadingsPerProgress = 20'000;

// Half of what the engine takes for a time without anybody.
constexpr Duration kUnwatched = std::chrono::hours(12);

// What was told, at the time it speaks of.
struct TimedInput {
  Instant at;
  rules::Input input;
};

std::vector<TimedInput> told_inputs(const Ledger& ledger) {
  std::vector<TimedInput> told;
  for (const auto& [id, jar] : ledger.jars()) {
    for (const Stay& stay : jar.stays) {
      told.push_back({stay.from, rules::JarPlacedInput{id, stay.place, stay.from}});
    }
    if (const auto spoilage = ledger.spoilage_of(jar)) {
      told.push_back(
          {std::max(spoilage->at, jar.stays.front().from), rules::JarSpoiledInput{id, spoilage}});
    }
    told.push_back({std::max(jar.closed(), jar.stays.front().from), closed_input(jar)});
    for (const JarEvent& event : jar.events) {
      told.push_back({event.at, input_of(id, event)});
    }
    if (jar.retired_at) {
      told.push_back({*jar.retired_at, rules::JarRetiredInput{id, *jar.retired_at}});
    }
  }
  std::stable_sort(told.begin(), told.end(),
                   [](const TimedInput& a, const TimedInput& b) { return a.at < b.at; });
  return told;
}

// The readings of all sensors in order of time, those of one sensor and moment together.
class AllReadings {
 public:
  AllReadings(const Reader& history, Instant to) {
    for (const std::string& sensor : history.known_sensors()) {
      for (const QuantityFacts& quantity : quantities()) {
        auto cursor = history.readings(sensor, quantity.quantity, instant_of(0), to);
        if (auto first = cursor->next()) series_.push_back({std::move(cursor), std::move(*first)});
      }
    }
    // A heap of the series by what comes next; of equal times the first sensor's goes first.
    for (std::size_t i = 0; i < series_.size(); ++i) {
      heap_.emplace_back(series_[i].next.measured_at, i);
    }
    std::make_heap(heap_.begin(), heap_.end(), std::greater());
  }

  [[nodiscard]] std::optional<Instant> next_at() const {
    return heap_.empty() ? std::nullopt : std::optional(heap_.front().first);
  }

  // Precondition: next_at().
  std::vector<Reading> next() {
    std::vector<Reading> together;
    together.reserve(2);
    do {
      std::pop_heap(heap_.begin(), heap_.end(), std::greater());
      Series& series = series_[heap_.back().second];
      together.push_back(std::move(series.next));
      if (auto following = series.cursor->next()) {
        series.next = std::move(*following);
        heap_.back().first = series.next.measured_at;
        std::push_heap(heap_.begin(), heap_.end(), std::greater());
      } else {
        heap_.pop_back();
      }
    } while (!heap_.empty() && heap_.front().first == together.front().measured_at &&
             series_[heap_.front().second].next.sensor == together.front().sensor);
    return together;
  }

 private:
  struct Series {
    std::unique_ptr<ReadingCursor> cursor;
    Reading next;
  };
  std::vector<Series> series_;
  std::vector<std::pair<Instant, std::size_t>> heap_;  // when, and into series_
};

// The sensors as they hung at `t`, in the order of the configuration, then of the history.
std::vector<rules::SensorSpec> sensors_at(const std::vector<rules::SensorSpec>& configured,
                                          const std::vector<Placement>& placements, Instant t) {
  std::vector<rules::SensorSpec> hung = configured;
  const auto find = [&hung](const std::string& id) {
    return std::find_if(hung.begin(), hung.end(), [&](const auto& spec) { return spec.id == id; });
  };
  for (const Placement& placement : placements) {
    if (placement.from > t) continue;
    const auto known = find(placement.spec.id);
    if (known == hung.end()) {
      hung.push_back(placement.spec);
    } else {
      *known = placement.spec;
    }
  }
  return hung;
}

// The engine under the layout that held; carried over where a sensor was moved, as the service is.
class Stage {
 public:
  Stage(rules::WatchSettings settings, std::vector<Placement> placements)
      : settings_(std::move(settings)),
        configured_(settings_.layout.sensors),
        placements_(std::move(placements)),
        watch_(settings_at(instant_of(0))) {
    for (const Placement& placement : placements_) {
      if (placement.from > instant_of(0)) changes_.push_back(placement.from);
    }
    std::sort(changes_.begin(), changes_.end());
    changes_.erase(std::unique(changes_.begin(), changes_.end()), changes_.end());
  }

  rules::Effects step(Instant at, const rules::Input& input) {
    while (next_change_ < changes_.size() && changes_[next_change_] <= at) {
      change_layout(changes_[next_change_++]);
    }
    return watch_.step(at, input);
  }

  [[nodiscard]] std::optional<Instant> next_due() const { return watch_.next_due(); }

 private:
  rules::WatchSettings settings_at(Instant t) const {
    rules::WatchSettings settings = settings_;
    settings.layout.sensors = sensors_at(configured_, placements_, t);
    return settings;
  }

  void change_layout(Instant at) {
    for (rules::JarModelBytes& model : watch_.take_jar_models()) {
      models_[model.jar] = std::move(model);
    }
    std::vector<rules::JarModelBytes> models;
    models.reserve(models_.size());
    for (const auto& [jar, model] : models_) models.push_back(model);
    rules::Watch changed(settings_at(at));
    // Its own snapshot of a moment ago: it fits.
    if (changed.restore(watch_.snapshot(), models)) watch_ = std::move(changed);
  }

  rules::WatchSettings settings_;
  std::vector<rules::SensorSpec> configured_;
  std::vector<Placement> placements_;
  rules::Watch watch_;
  std::vector<Instant> changes_;
  std::size_t next_change_ = 0;
  std::map<std::string, rules::JarModelBytes> models_;
};

// Alert changes as raisings and easings.
class Raisings {
 public:
  explicit Raisings(const RehearsalRange& range) : range_(range) {}

  void add(rules::AlertChangeKind kind, Instant at, const rules::Alert& alert) {
    using Kind = rules::AlertChangeKind;
    if (kind == Kind::raised || kind == Kind::reopened) {
      standing_[alert.number] = {alert.rule,    alert.subject, at,        std::nullopt,
                                 alert.urgency, alert.jars,    alert.what};
      return;
    }
    const auto standing = standing_.find(alert.number);
    if (standing == standing_.end()) return;
    if (kind == Kind::eased || kind == Kind::ended) {
      standing->second.eased = alert.eased_at.value_or(at);
      keep(standing->second);
      standing_.erase(standing);
    } else if (kind == Kind::updated) {
      standing->second.urgency = std::min(standing->second.urgency, alert.urgency);
      for (const std::string& jar : alert.jars) {
        auto& jars = standing->second.jars;
        if (std::find(jars.begin(), jars.end(), jar) == jars.end()) jars.push_back(jar);
      }
    }
  }

  std::vector<RehearsedAlert> take() {
    for (const auto& [number, alert] : standing_) keep(alert);
    std::stable_sort(kept_.begin(), kept_.end(), [](const auto& a, const auto& b) {
      return std::tie(a.raised, a.rule, a.subject) < std::tie(b.raised, b.rule, b.subject);
    });
    return std::move(kept_);
  }

 private:
  void keep(const RehearsedAlert& alert) {
    if (alert.raised >= range_.from && alert.raised < range_.to) kept_.push_back(alert);
  }

  RehearsalRange range_;
  std::map<std::uint64_t, RehearsedAlert> standing_;
  std::vector<RehearsedAlert> kept_;
};

std::optional<rules::AlertChangeKind> kind_of(std::string_view name) {
  using Kind = rules::AlertChangeKind;
  for (const Kind kind : {Kind::raised, Kind::reopened, Kind::seen, Kind::deferred, Kind::eased,
                          Kind::ended, Kind::updated}) {
    if (rules::alert_change_name(kind) == name) return kind;
  }
  return std::nullopt;
}

}  // namespace

Rehearsal rehearse(rules::WatchSettings settings, const Reader& history, const Ledger& ledger,
                   const RehearsalRange& range, const std::function<void(Instant)>& progress) {
  // Of recorded data the time of arrival says nothing, and the engine must not ask for it.
  const bool recorded = settings.clock == rules::Clock::readings;
  settings.clock = rules::Clock::wall;
  settings.quiet.reset();
  Stage stage(std::move(settings), history.placements());
  Raisings raisings(range);
  const auto step = [&](Instant at, const rules::Input& input) {
    const rules::Effects effects = stage.step(at, input);
    for (const rules::AlertChange& change : effects.changes) {
      raisings.add(change.kind, change.at, change.alert);
    }
  };

  // By the wall clock somebody watches while nothing comes, and lets no timer wait.
  const auto watch_until = [&](Instant t) {
    while (!recorded) {
      const auto due = stage.next_due();
      if (!due || *due > t - kUnwatched) return;
      step(*due, rules::TickInput{});
    }
  };

  Rehearsal rehearsal;
  const std::vector<TimedInput> told = told_inputs(ledger);
  auto next_told = told.begin();
  AllReadings readings(history, range.to);
  // What was told of a time before the first reading is told with it: nothing was watched before.
  const Instant begin = readings.next_at().value_or(range.to - Duration(1));
  const auto tell_through = [&](Instant t) {
    for (; next_told != told.end() && next_told->at <= t; ++next_told) {
      step(std::max(next_told->at, begin), next_told->input);
    }
  };
  while (const auto at = readings.next_at()) {
    tell_through(*at);
    if (rehearsal.readings > 0) watch_until(*at);
    rules::ReadingsInput input{readings.next()};
    if (recorded) {
      for (Reading& reading : input.readings) reading.received_at = reading.measured_at;
    }
    const std::uint64_t before = rehearsal.readings;
    rehearsal.readings += input.readings.size();
    step(*at, input);
    if (before / kReadingsPerProgress != rehearsal.readings / kReadingsPerProgress) progress(*at);
  }
  tell_through(range.to - Duration(1));
  watch_until(range.to - Duration(1));
  // What a timer raises up to the end, without a further reading.
  step(range.to - Duration(1), rules::TickInput{});
  rehearsal.alerts = raisings.take();
  return rehearsal;
}

std::optional<Instant> first_reading(const Reader& history) {
  return AllReadings(history, Instant::max()).next_at();
}

tl::expected<std::vector<RehearsedAlert>, Error> raised_alerts(const Reader& history,
                                                               const RehearsalRange& range) {
  Raisings raisings(range);
  for (const StoredAlert& stored : history.alerts(false)) {
    for (const StoredAlertChange& change : history.alert_changes(stored.number)) {
      const auto view = alert_from_json(change.body);
      const auto kind = kind_of(change.kind);
      if (!view || !kind) {
        return tl::unexpected(
            Error{ErrorKind::corrupt,
                  fmt::format("a change of alert {}: {}", change.number,
                              view ? "an unknown kind, " + change.kind : view.error())});
      }
      raisings.add(*kind, change.at, view->alert);
    }
  }
  return raisings.take();
}

}  // namespace torpor::daemon
