// What is shown of the storeroom, as plain values: gathered from the history once (gather.h), shown
// as text (text.h) or JSON (json.h). Nothing here knows how it is shown.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "daemon/history/store.h"
#include "daemon/ledger/exposure.h"
#include "daemon/ledger/jar_day.h"
#include "daemon/ledger/ledger.h"
#include "rules/culture/verdict.h"
#include "rules/standing/standing.h"
#include "rules/watch/watch.h"
#include "sensors/reading.h"

namespace torpor::daemon {

// The air at a place at one moment, as its sensors say. Unknown where none of them is live.
struct AirFigures {
  std::optional<Celsius> temperature;
  std::optional<Percent> humidity;
  std::optional<Celsius> dew_point;
  std::optional<Pascal> vapour_pressure;
  std::optional<GramsPerCubicMetre> absolute_humidity;
  std::string sensor;                  // who speaks for the temperature; empty: nobody
  std::string humidity_sensor;         // who speaks for the humidity; empty: nobody
  std::optional<Instant> measured_at;  // of the temperature
};

struct AlertView {
  rules::Alert alert;
};

// What a list of jars says of one.
struct JarRow {
  std::string jar;
  std::string stage;         // empty: not told
  std::string place;         // where it is kept; empty: retired or not placed yet
  rules::Standing standing;  // the service's own, or worked out as it would
  AirFigures air;            // of its place, now
  // Of the time since it was closed; nullopt: none has passed yet.
  std::optional<double> coverage_percent;
  std::vector<std::uint64_t> alerts;  // open ones that list it
};

struct JarView : JarRow {
  Instant closed;
  std::optional<Instant> retired_at;
  Instant as_of;
  bool past = false;                // as_of lies before now: nothing of it asks for a deed
  rules::culture::Figures figures;  // as of as_of
  std::vector<rules::culture::Unknowable> unknown;
};

struct PlaceView {
  std::string path;
  bool outside = false;
  Instant as_of;
  AirFigures air;
  std::vector<std::string> sensors;   // hanging at the place itself, in configuration order
  std::vector<std::string> jars;      // standing at the place itself
  std::vector<std::uint64_t> alerts;  // open ones about it or a place above
};

enum class SensorState { live, silent, never_heard, not_configured };

struct SensorReading {  // the newest of one quantity
  Quantity quantity = Quantity::temperature;
  double value = 0.0;  // canonical unit, corrected
  double raw = 0.0;    // canonical unit, as it came
  Instant measured_at;
  bool trusted = true;
};

// What the checks of one quantity of a sensor say of it.
struct SensorAccuracy {
  Quantity quantity = Quantity::temperature;
  Correction correction;                    // that holds now, and its uncertainty
  std::optional<SensorChecks::Done> check;  // the newest; nullopt: never
};

struct SensorView {
  std::string id;
  std::string place, jar;  // where it hangs; one of the two, or none if unknown
  rules::Senses senses = rules::Senses::air;
  SensorState state = SensorState::never_heard;
  Instant as_of;
  std::vector<SensorReading> readings;
  std::optional<Duration> expected_interval, hold;  // nullopt: no longer configured
  std::optional<rules::SensorStanding> standing;    // nullopt: the judges have not seen it
  std::vector<SensorAccuracy> accuracy;             // of what it measures
  std::vector<std::uint64_t> alerts;
};

// One row of a jar's exposure. Means are weighted by time and taken over the covered part.
struct ExposureRow {  // [from, to)
  Instant from, to;
  std::string place;
  std::string sensor;             // the first that spoke in it; empty: nobody
  double coverage_percent = 0.0;  // time with temperature and humidity
  std::optional<Celsius> temperature;
  std::optional<Percent> humidity;
  std::optional<Celsius> dew_point;
  friend bool operator==(const ExposureRow&, const ExposureRow&) = default;
};

// Lowest and highest over a stretch of time.
struct ExposureRange {  // [from, to)
  Instant from, to;
  double coverage_percent = 0.0;
  std::optional<Celsius> lowest_temperature, highest_temperature;
  std::optional<Percent> lowest_humidity, highest_humidity;
  friend bool operator==(const ExposureRange&, const ExposureRange&) = default;
};

// The water activity from which on a jar's organisms work, by its culture profile.
struct ActivityLimits {
  rules::culture::Ensemble moulds, yeasts;
};

// Weeks that are shown half a day at a time: what one screen holds.
inline constexpr std::size_t kDetailedWeeks = 8;

// The jars and collections a jar comes from and went into, and what was taken out of it.
struct LineView {
  struct Step {  // `jar` was made from `parent`
    std::string jar, parent;
    std::optional<Grams> split;  // split off; nullopt: made new from it
  };
  std::vector<Step> back, forward;      // nearest first
  std::vector<Collection> collections;  // that it goes back to, nearest first
  struct Who {
    std::string stage;  // empty: not told
    Instant closed;
    bool retired = false;
  };
  std::map<std::string, Who> jars;  // every jar named in the steps
  std::vector<Portion> taken;       // by time
};

struct JarHistoryView {
  JarView jar;              // as of summary.to
  NewJar made;              // what was told when it was registered
  std::vector<Stay> stays;  // that touch [from, to)
  ExposureSummary summary;  // of [from, to)
  std::vector<ExposureRow> exposure;
  std::vector<ExposureRange> weeks;      // 7 days (UTC) each, the first and the last one cut
  std::vector<ExposureRange> half_days;  // 12 h each of the last kDetailedWeeks of `weeks`
  std::vector<ExposureRange> slices;     // equal parts of [from, to), for the little curves
  std::vector<LifePoint> life;           // over [from, to] by time, a day apart at most
  std::vector<AlertView> alerts;         // that concerned it and touch [from, to]
  std::vector<JournalEntry> journal;     // entries about it, all of them
  // Of those that were withdrawn: by which entry.
  std::map<std::uint64_t, std::uint64_t> withdrawn;
  LineView line;
  std::vector<JarEvent> events;  // what was done to it or seen of it, all of it
  ActivityLimits limits;
};

struct AirView {  // `torpor air`
  Celsius temperature;
  Percent humidity;
  Pascal pressure;
  std::optional<Celsius> dew_point;  // none at 0 %
  Pascal vapour_pressure, saturation_vapour_pressure;
  GramsPerCubicMetre absolute_humidity;
  HumidityRatio humidity_ratio;
};

}  // namespace torpor::daemon
