// Which air a jar stood in over time: its stays through the place tree, each moment spoken for by
// the sensor that rules/watch/air_speaker.h chooses under the placement that held then. A step
// function: constant between changes. Uncovered time counts as uncovered, never as good.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "daemon/history/store.h"
#include "daemon/ledger/ledger.h"
#include "daemon/ledger/mean_kinetic.h"
#include "rules/watch/air_speaker.h"

namespace torpor::daemon {

struct ExposureStep {  // holds over [from, to)
  Instant from, to;
  std::string place;   // empty: the jar stood nowhere that the ledger knows
  std::string sensor;  // who spoke for the temperature; empty: nobody
  std::optional<Celsius> temperature;
  std::optional<Percent> humidity;
  // Humidity means something only with the temperature of its own sensor, which is another one than
  // `sensor` where the nearest sensor is a thermometer. Dew point and the like are computed from
  // these two.
  std::string humidity_sensor;
  std::optional<Celsius> humid_temperature;
  // Expected of what the two sensors say, one standard deviation: K, %. Not kept in a JarDay, whose
  // steps are for showing.
  double temperature_error = 0.0, humidity_error = 0.0;
  friend bool operator==(const ExposureStep&, const ExposureStep&) = default;
};

struct ExposureSummary {
  Instant from, to;
  double coverage_percent = 0.0;  // time with temperature and humidity, of all time
  // Of the time with a temperature, also where the humidity is unknown: heat without a hygrometer
  // is heat. dH/R = 10000 K.
  std::optional<Celsius> mean_kinetic_temperature;
  std::optional<Celsius> highest_temperature;
  friend bool operator==(const ExposureSummary&, const ExposureSummary&) = default;
};

// What a summary follows from, of any pieces of time put together.
struct ExposureTotals {
  Duration covered{};
  MeanKinetic kinetic;
  std::optional<Celsius> highest_temperature;
  void add(const ExposureStep& step);
  void add(const ExposureTotals& other);
  // Precondition: these are the totals of [from, to).
  [[nodiscard]] ExposureSummary summary(Instant from, Instant to) const;
  friend bool operator==(const ExposureTotals&, const ExposureTotals&) = default;
};

// The air of one history. walk() calls `visit` with every step of the jar's exposure in [from, to),
// in order, without gaps; equal neighbours are one step. Memory is bounded by the number of
// sensors, not by the length of the history; what jars on one shelf have in common is worked out
// once. Several sensors at one place speak in the order in which they first stand in `placements`.
// Only trusted readings count, each for as long as the placement under which it was measured holds:
// a sensor that was moved says nothing of its new place before its first reading there. Values are
// corrected by the checks that hold at their time.
class StoodAir {
 public:
  // All outlive it.
  StoodAir(const Reader& history, std::span<const rules::PlaceSpec> places,
           std::span<const Placement> placements, const Calibrations& calibrations);
  ~StoodAir();
  StoodAir(StoodAir&&) noexcept;
  StoodAir& operator=(StoodAir&&) noexcept;

  // One thread at a time.
  ExposureSummary walk(const Jar& jar, Instant from, Instant to,
                       const std::function<void(const ExposureStep&)>& visit) const;

  [[nodiscard]] const Reader& history() const;
  [[nodiscard]] std::span<const Placement> placements() const;
  [[nodiscard]] const Calibrations& calibrations() const;

 private:
  struct Shared;
  std::unique_ptr<Shared> shared_;
};

// At most `points` of the steps, in order. Six points and more keep the highest and lowest
// temperature and humidity of every bucket and its first and last step; fewer keep what fits of
// these.
[[nodiscard]] std::vector<ExposureStep> thin(std::vector<ExposureStep> steps, std::size_t points);

}  // namespace torpor::daemon
