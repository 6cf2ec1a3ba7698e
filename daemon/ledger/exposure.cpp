#include "daemon/ledger/exposure.h"

#include <algorithm>
#include <array>
#include <map>
#include <memory>
#include <string_view>
#include <tuple>
#include <utility>

namespace torpor::daemon {

namespace {

// The air sensors that may speak for one place, as they hung at one moment, and since when each
// hung there without a break.
struct HungLayout {
  rules::Layout layout;
  std::vector<Instant> since;  // by index of layout.sensors
};

// Steps of a stretch as short as this are kept for the other jars of the shelf: what lies between
// the newest stored model and now.
constexpr Duration kSharedStretch = std::chrono::hours(24);
constexpr std::size_t kMostSharedSteps = 50'000;  // some MB

bool hangs_alike(const rules::SensorSpec& a, const rules::SensorSpec& b) {
  return a.place == b.place && a.jar == b.jar && a.senses == b.senses;
}

bool speaks_for_air(const rules::SensorSpec& spec) {
  return spec.senses == rules::Senses::air && spec.jar.empty() && !spec.place.empty();
}

// One sensor's placements, oldest first.
using PlacementHistory = std::vector<const Placement*>;

// By sensor, in the order in which the sensors first appear.
std::vector<PlacementHistory> histories_of(std::span<const Placement> placements) {
  std::vector<PlacementHistory> histories;
  std::map<std::string_view, std::size_t> known;
  for (const Placement& placement : placements) {
    const auto [at, is_new] = known.emplace(placement.spec.id, histories.size());
    if (is_new) histories.emplace_back();
    histories[at->second].push_back(&placement);
  }
  for (PlacementHistory& history : histories) {
    std::stable_sort(history.begin(), history.end(),
                     [](const auto* a, const auto* b) { return a->from < b->from; });
  }
  return histories;
}

// Passes steps on, equal neighbours as one, and sums them up.
class StepWriter {
 public:
  explicit StepWriter(const std::function<void(const ExposureStep&)>& visit) : visit_(visit) {}

  void write(ExposureStep step) {
    if (pending_ && continues(*pending_, step)) {
      pending_->to = step.to;
      return;
    }
    flush();
    pending_ = std::move(step);
  }

  ExposureSummary finish(Instant from, Instant to) {
    flush();
    return totals_.summary(from, to);
  }

 private:
  static bool continues(const ExposureStep& before, const ExposureStep& step) {
    ExposureStep same = before;
    same.from = step.from;
    same.to = step.to;
    return before.to == step.from && same == step;
  }

  void flush() {
    if (!pending_) return;
    totals_.add(*pending_);
    visit_(*pending_);
    pending_.reset();
  }

  const std::function<void(const ExposureStep&)>& visit_;
  std::optional<ExposureStep> pending_;
  ExposureTotals totals_;
};

// The trusted readings of one sensor and quantity, corrected, as the value held at a moment that
// moves on.
class HeldStream {
 public:
  HeldStream(const Reader& history, const rules::SensorSpec& spec, Quantity quantity,
             const Calibrations& calibrations, Instant since, Instant from, Instant to)
      : hold_(spec.hold),
        calibration_(calibration_of(calibrations, spec.id)),
        cursor_(history.readings(spec.id, quantity, from, to)) {
    Instant before = from;
    while (const auto reading = history.last_before(spec.id, quantity, before)) {
      if (reading->measured_at < since || reading->measured_at + hold_ <= from) break;
      if (reading->trusted()) {
        hold(*reading);
        break;
      }
      before = reading->measured_at;
    }
    fetch();
  }

  void advance_to(Instant t) {
    while (next_ && next_->measured_at <= t) {
      hold(*next_);
      fetch();
    }
  }

  // When what is held may change after `t`, at most `end`.
  [[nodiscard]] Instant next_change(Instant t, Instant end) const {
    Instant change = end;
    if (next_) change = std::min(change, next_->measured_at);
    if (held_ && held_->holds_until > t) change = std::min(change, held_->holds_until);
    return change;
  }

  [[nodiscard]] const std::optional<rules::HeldValue>& held() const { return held_; }

 private:
  void hold(const Reading& reading) {
    const Instant at = reading.measured_at;
    held_ = rules::HeldValue{corrected(calibration_, reading), at, at + hold_,
                             expected_error(calibration_, reading.quantity, at)};
  }

  void fetch() {
    do {
      next_ = cursor_->next();
    } while (next_ && !next_->trusted());
  }

  Duration hold_;
  const Calibration& calibration_;
  std::unique_ptr<ReadingCursor> cursor_;
  std::optional<Reading> next_;
  std::optional<rules::HeldValue> held_;
};

ExposureStep step_of(const rules::SpokenAir& spoken, const rules::Layout& layout,
                     const std::string& place, Instant from, Instant to) {
  ExposureStep step;
  step.from = from;
  step.to = to;
  step.place = place;
  step.temperature = spoken.temperature;
  step.humidity = spoken.humidity;
  step.humid_temperature = spoken.humid_temperature;
  step.temperature_error = spoken.temperature_error;
  step.humidity_error = spoken.humidity_error;
  if (spoken.temperature_speaker) step.sensor = layout.sensors[*spoken.temperature_speaker].id;
  if (spoken.humidity_speaker) step.humidity_sensor = layout.sensors[*spoken.humidity_speaker].id;
  return step;
}

// Over [from, to) neither the jar nor a sensor moves.
void walk_still(const HungLayout& hung, const std::string& place, Instant from, Instant to,
                const Reader& history, const Calibrations& calibrations,
                const std::function<void(ExposureStep)>& write) {
  struct Voice {
    std::size_t sensor;
    HeldStream temperature, humidity;
  };
  const auto speakers = rules::speakers_for(hung.layout, place);
  std::vector<Voice> voices;
  voices.reserve(speakers.size());
  for (const std::size_t sensor : speakers) {
    const auto stream = [&](Quantity quantity) {
      return HeldStream(history, hung.layout.sensors[sensor], quantity, calibrations,
                        hung.since[sensor], from, to);
    };
    voices.push_back({sensor, stream(Quantity::temperature), stream(Quantity::humidity)});
  }

  std::vector<rules::SensorAir> air(hung.layout.sensors.size());
  for (Instant t = from; t < to;) {
    Instant change = to;
    for (Voice& voice : voices) {
      for (HeldStream* stream : {&voice.temperature, &voice.humidity}) {
        stream->advance_to(t);
        change = stream->next_change(t, change);
      }
      air[voice.sensor] = {voice.temperature.held(), voice.humidity.held()};
    }
    write(step_of(rules::spoken_air(speakers, air, t), hung.layout, place, t, change));
    t = change;
  }
}

// Positions in a bucket of steps that a thinned history keeps, the most telling first.
std::vector<std::size_t> telling_positions(std::span<const ExposureStep> bucket) {
  struct Extreme {
    std::optional<std::size_t> position;
    double value = 0.0;
    void offer(std::size_t at, double candidate) {
      if (!position || candidate > value) {
        position = at;
        value = candidate;
      }
    }
  };
  Extreme warmest, dampest, coldest, driest;
  for (std::size_t i = 0; i < bucket.size(); ++i) {
    if (bucket[i].temperature) {
      warmest.offer(i, bucket[i].temperature->value());
      coldest.offer(i, -bucket[i].temperature->value());
    }
    if (bucket[i].humidity) {
      dampest.offer(i, bucket[i].humidity->value());
      driest.offer(i, -bucket[i].humidity->value());
    }
  }
  std::vector<std::size_t> positions;
  const auto keep = [&](std::optional<std::size_t> position) {
    if (position && std::find(positions.begin(), positions.end(), *position) == positions.end()) {
      positions.push_back(*position);
    }
  };
  keep(warmest.position);
  keep(dampest.position);
  keep(0);
  keep(bucket.size() - 1);
  keep(coldest.position);
  keep(driest.position);
  return positions;
}

}  // namespace

void ExposureTotals::add(const ExposureStep& step) {
  if (!step.temperature) return;
  const Duration lasted = step.to - step.from;
  kinetic.add(*step.temperature, lasted);
  // Of optionals an absent one is the least.
  highest_temperature = std::max(highest_temperature, step.temperature);
  if (step.humidity) covered += lasted;
}

void ExposureTotals::add(const ExposureTotals& other) {
  covered += other.covered;
  kinetic.add(other.kinetic);
  highest_temperature = std::max(highest_temperature, other.highest_temperature);
}

ExposureSummary ExposureTotals::summary(Instant from, Instant to) const {
  ExposureSummary summary{from, to, 0.0, kinetic.value(), highest_temperature};
  if (to > from) {
    summary.coverage_percent =
        100.0 * static_cast<double>(covered.count()) / static_cast<double>((to - from).count());
  }
  return summary;
}

struct StoodAir::Shared {
  Shared(const Reader& reader, std::span<const rules::PlaceSpec> all_places,
         std::span<const Placement> all_placements, const Calibrations& checks);

  [[nodiscard]] HungLayout layout_at(const std::string& place, Instant t) const;
  // Every instant in [from, to] at which the jar or a sensor may have moved, and both ends.
  [[nodiscard]] std::vector<Instant> boundaries_of(const Jar& jar, Instant from, Instant to) const;
  void walk(const std::string& place, Instant from, Instant to, StepWriter& writer);

  const Reader& history;
  const std::span<const rules::PlaceSpec> places;
  const std::span<const Placement> placements;
  const Calibrations& calibrations;

  std::vector<PlacementHistory> histories;
  // Of histories, those that ever hung at a place to speak for its air.
  std::map<std::string_view, std::vector<std::size_t>> hung_at;
  std::vector<Instant> moves;  // of sensors; sorted
  // Of short stretches: place, from, to.
  std::map<std::tuple<std::string, Instant, Instant>, std::vector<ExposureStep>> steps;
  std::size_t steps_kept = 0;
};

StoodAir::Shared::Shared(const Reader& reader, std::span<const rules::PlaceSpec> all_places,
                         std::span<const Placement> all_placements, const Calibrations& checks)
    : history(reader),
      places(all_places),
      placements(all_placements),
      calibrations(checks),
      histories(histories_of(all_placements)) {
  for (std::size_t i = 0; i < histories.size(); ++i) {
    for (const Placement* placement : histories[i]) {
      moves.push_back(placement->from);
      if (!speaks_for_air(placement->spec)) continue;
      auto& hung = hung_at[placement->spec.place];
      if (hung.empty() || hung.back() != i) hung.push_back(i);
    }
  }
  std::sort(moves.begin(), moves.end());
}

// A place has the air of the sensors in it, or of those above it.
HungLayout StoodAir::Shared::layout_at(const std::string& place, Instant t) const {
  HungLayout hung;
  std::vector<std::size_t> may_speak;
  for (std::string_view at = place; !at.empty(); at = rules::parent_place(at)) {
    const auto there = hung_at.find(at);
    if (there == hung_at.end()) continue;
    may_speak.insert(may_speak.end(), there->second.begin(), there->second.end());
  }
  std::sort(may_speak.begin(), may_speak.end());
  may_speak.erase(std::unique(may_speak.begin(), may_speak.end()), may_speak.end());
  for (const rules::PlaceSpec& spec : places) {
    if (rules::is_at_or_below(place, spec.path)) hung.layout.places.push_back(spec);
  }
  for (const std::size_t sensor : may_speak) {
    const PlacementHistory& dated = histories[sensor];
    std::size_t in_force = dated.size() - 1;
    while (in_force > 0 && dated[in_force]->from > t) --in_force;
    const rules::SensorSpec& spec = dated[in_force]->spec;
    if (!speaks_for_air(spec)) continue;
    std::size_t first = in_force;
    while (first > 0 && hangs_alike(dated[first - 1]->spec, spec)) --first;
    hung.layout.sensors.push_back(spec);
    // The first placement of a sensor holds from the beginning of time.
    hung.since.push_back(first == 0 ? Instant::min() : dated[first]->from);
  }
  return hung;
}

std::vector<Instant> StoodAir::Shared::boundaries_of(const Jar& jar, Instant from,
                                                     Instant to) const {
  std::vector<Instant> boundaries{from, to};
  const auto add = [&](Instant t) {
    if (from < t && t < to) boundaries.push_back(t);
  };
  for (const Stay& stay : jar.stays) {
    add(stay.from);
    if (stay.to) add(*stay.to);
  }
  for (auto move = std::upper_bound(moves.begin(), moves.end(), from);
       move != moves.end() && *move < to; ++move) {
    boundaries.push_back(*move);
  }
  std::sort(boundaries.begin(), boundaries.end());
  boundaries.erase(std::unique(boundaries.begin(), boundaries.end()), boundaries.end());
  return boundaries;
}

void StoodAir::Shared::walk(const std::string& place, Instant from, Instant to,
                            StepWriter& writer) {
  if (to - from > kSharedStretch || steps_kept >= kMostSharedSteps) {
    walk_still(layout_at(place, from), place, from, to, history, calibrations,
               [&](ExposureStep step) { writer.write(std::move(step)); });
    return;
  }
  auto& kept = steps[{place, from, to}];
  if (kept.empty()) {
    walk_still(layout_at(place, from), place, from, to, history, calibrations,
               [&](ExposureStep step) { kept.push_back(std::move(step)); });
    steps_kept += kept.size();
  }
  for (const ExposureStep& step : kept) writer.write(step);
}

StoodAir::StoodAir(const Reader& history, std::span<const rules::PlaceSpec> places,
                   std::span<const Placement> placements, const Calibrations& calibrations)
    : shared_(std::make_unique<Shared>(history, places, placements, calibrations)) {}

StoodAir::~StoodAir() = default;
StoodAir::StoodAir(StoodAir&&) noexcept = default;
StoodAir& StoodAir::operator=(StoodAir&&) noexcept = default;

const Reader& StoodAir::history() const { return shared_->history; }
std::span<const Placement> StoodAir::placements() const { return shared_->placements; }
const Calibrations& StoodAir::calibrations() const { return shared_->calibrations; }

ExposureSummary StoodAir::walk(const Jar& jar, Instant from, Instant to,
                               const std::function<void(const ExposureStep&)>& visit) const {
  StepWriter writer(visit);
  if (to <= from) return writer.finish(from, to);
  const auto boundaries = shared_->boundaries_of(jar, from, to);
  for (std::size_t i = 0; i + 1 < boundaries.size(); ++i) {
    const Instant begin = boundaries[i];
    const Instant end = boundaries[i + 1];
    const Stay* stay = jar.stay_at(begin);
    if (stay == nullptr) {
      writer.write(step_of({}, {}, {}, begin, end));
    } else {
      shared_->walk(stay->place, begin, end, writer);
    }
  }
  return writer.finish(from, to);
}

std::vector<ExposureStep> thin(std::vector<ExposureStep> steps, std::size_t points) {
  constexpr std::size_t kKeptOfBucket = 6;  // both extremes of both quantities, first and last
  if (steps.size() <= points) return steps;
  if (points == 0) return {};
  const std::size_t buckets = std::max<std::size_t>(1, points / kKeptOfBucket);
  std::vector<ExposureStep> kept;
  for (std::size_t bucket = 0; bucket < buckets; ++bucket) {
    const std::size_t begin = steps.size() * bucket / buckets;
    const std::size_t end = steps.size() * (bucket + 1) / buckets;
    auto positions =
        telling_positions(std::span<const ExposureStep>(steps).subspan(begin, end - begin));
    if (positions.size() > points) positions.resize(points);
    std::sort(positions.begin(), positions.end());
    for (const std::size_t position : positions) kept.push_back(steps[begin + position]);
  }
  return kept;
}

}  // namespace torpor::daemon
