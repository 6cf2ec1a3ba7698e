#include "daemon/ledger/exposure.h"

#include <algorithm>
#include <array>
#include <memory>
#include <utility>

namespace torpor::daemon {

namespace {

// The air sensors as they hung at one moment, and since when each hung there without a break.
struct HungLayout {
  rules::Layout layout;
  std::vector<Instant> since;  // by index of layout.sensors
};

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
  for (const Placement& placement : placements) {
    const auto known = std::find_if(histories.begin(), histories.end(), [&](const auto& history) {
      return history.front()->spec.id == placement.spec.id;
    });
    if (known == histories.end()) {
      histories.push_back({&placement});
    } else {
      known->push_back(&placement);
    }
  }
  for (PlacementHistory& history : histories) {
    std::stable_sort(history.begin(), history.end(),
                     [](const auto* a, const auto* b) { return a->from < b->from; });
  }
  return histories;
}

HungLayout layout_at(std::span<const rules::PlaceSpec> places,
                     const std::vector<PlacementHistory>& histories, Instant t) {
  HungLayout hung;
  hung.layout.places.assign(places.begin(), places.end());
  for (const PlacementHistory& history : histories) {
    std::size_t in_force = history.size() - 1;
    while (in_force > 0 && history[in_force]->from > t) --in_force;
    const rules::SensorSpec& spec = history[in_force]->spec;
    if (!speaks_for_air(spec)) continue;
    std::size_t first = in_force;
    while (first > 0 && hangs_alike(history[first - 1]->spec, spec)) --first;
    hung.layout.sensors.push_back(spec);
    // The first placement of a sensor holds from the beginning of time.
    hung.since.push_back(first == 0 ? Instant::min() : history[first]->from);
  }
  return hung;
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
                const Reader& history, const Calibrations& calibrations, StepWriter& writer) {
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
    writer.write(step_of(rules::spoken_air(speakers, air, t), hung.layout, place, t, change));
    t = change;
  }
}

// Every instant in [from, to] at which the jar or a sensor may have moved, and both ends.
std::vector<Instant> boundaries_of(const Jar& jar, std::span<const Placement> placements,
                                   Instant from, Instant to) {
  std::vector<Instant> boundaries{from, to};
  const auto add = [&](Instant t) {
    if (from < t && t < to) boundaries.push_back(t);
  };
  for (const Stay& stay : jar.stays) {
    add(stay.from);
    if (stay.to) add(*stay.to);
  }
  for (const Placement& placement : placements) add(placement.from);
  std::sort(boundaries.begin(), boundaries.end());
  boundaries.erase(std::unique(boundaries.begin(), boundaries.end()), boundaries.end());
  return boundaries;
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

ExposureSummary walk_exposure(const Jar& jar, Instant from, Instant to, const Reader& history,
                              std::span<const rules::PlaceSpec> places,
                              std::span<const Placement> placements,
                              const Calibrations& calibrations,
                              const std::function<void(const ExposureStep&)>& visit) {
  StepWriter writer(visit);
  if (to <= from) return writer.finish(from, to);
  const auto histories = histories_of(placements);
  const auto boundaries = boundaries_of(jar, placements, from, to);
  for (std::size_t i = 0; i + 1 < boundaries.size(); ++i) {
    const Instant begin = boundaries[i];
    const Instant end = boundaries[i + 1];
    const Stay* stay = jar.stay_at(begin);
    if (stay == nullptr) {
      writer.write(step_of({}, {}, {}, begin, end));
    } else {
      walk_still(layout_at(places, histories, begin), stay->place, begin, end, history,
                 calibrations, writer);
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
