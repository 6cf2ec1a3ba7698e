// What one list of speakers says of the air, as a function of time: constant from one moment to the
// next, known as far back as a late reading may reach and, should nothing more arrive, for ever
// ahead. All places with the same speakers share one.
#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <vector>

#include "rules/book/rule_quantity.h"
#include "rules/culture/air_sample.h"
#include "rules/watch/air_speaker.h"
#include "rules/watch/layout.h"

namespace torpor::rules {

inline constexpr Instant kNever = Instant::max();
inline constexpr Instant kAlways = Instant::min();

// A trusted reading of one speaker, in the canonical unit.
struct AirReading {
  Instant at;
  std::uint32_t speaker = 0;  // position in the timeline's list of speakers
  Quantity quantity = Quantity::temperature;
  double value = 0.0;
  double error = 0.0;  // expected of it, one standard deviation
  Duration hold{};     // how long it stands without a successor
  friend bool operator==(const AirReading&, const AirReading&) = default;
};

class AirTimeline {
 public:
  // `speakers`: indices into layout.sensors, best first. `reach`: how far behind the newest reading
  // the past stays exact, at least `late`.
  AirTimeline(std::vector<std::size_t> speakers, Duration late, Duration reach);

  [[nodiscard]] const std::vector<std::size_t>& speakers() const { return speakers_; }
  [[nodiscard]] std::optional<Instant> newest() const { return newest_; }

  // Takes in a reading of one of the speakers. False, and nothing changes: it is older than the
  // newest by more than `late`, or that speaker has one of that quantity and time already.
  bool insert(const AirReading& reading);
  // Time to forget: a few times an hour.
  [[nodiscard]] bool is_full() const { return newest_ && *newest_ >= forgets_from_; }
  // Lets go of what is farther back than `reach`, but not of what held at `needed` or later. Not
  // before a reading is stepped: it may be hours newer than the one before it, and what lay between
  // is asked for when it has come.
  void forget(Instant needed);

  struct Spoken {
    double value;   // canonical; NaN: unknown
    Instant until;  // the value is this until then (exclusive); kNever: for ever
  };
  // Precondition: `quantity` is one of the air. Exact for t from newest() at the last forget() -
  // reach on.
  [[nodiscard]] Spoken value_at(RuleQuantity quantity, Instant t);
  // The air as the jars' models take it. Outside the model's range it is not known.
  struct Held {
    culture::Air air;
    Instant until;  // exclusive; kNever: for ever
  };
  [[nodiscard]] Held held_at(Instant t);
  // From the values as a person or topic wants them. Speakers are indices into layout.sensors.
  [[nodiscard]] SpokenAir air_at(Instant t) const;

  // ---- for the snapshot -----------------------------------------------------------------------
  // The newest reading of each speaker and quantity from before the kept ones, then those kept.
  [[nodiscard]] std::vector<AirReading> kept() const;
  void restore(const std::vector<AirReading>& kept, std::optional<Instant> newest);

 private:
  // From `from` until the next moment the values are these. A timeline holds hours of them, ten
  // seconds apart: what follows from them is worked out when it is asked for.
  struct Moment {
    Instant from;
    double temperature, humidity, humid_temperature;  // NaN: unknown
    double temperature_error = 0.0, humidity_error = 0.0;
    std::uint32_t temperature_speaker, humidity_speaker;  // positions; kNobody
  };
  static constexpr std::uint32_t kNobody = UINT32_MAX;
  struct Derived {
    double dew_point, absolute_humidity, vapour_pressure;  // NaN: unknown
  };

  [[nodiscard]] static Moment unknown_moment(Instant from);
  [[nodiscard]] static bool same_values(const Moment& a, const Moment& b);
  [[nodiscard]] static Derived derived_of(const Moment& moment);
  [[nodiscard]] SpokenAir air_of(const Moment& moment) const;
  using Place = std::deque<Moment>::const_iterator;
  [[nodiscard]] Place place_at(Instant t) const;
  [[nodiscard]] Instant end_of(const Place& moment) const;
  static void hold(std::vector<SensorAir>& air, const AirReading& reading);
  void project(std::vector<SensorAir>& air, std::size_t next_reading, Instant from);
  void append_moment(const std::vector<SensorAir>& air, Instant from);

  std::vector<std::size_t> speakers_;   // as in the layout
  std::vector<std::size_t> positions_;  // 0, 1, ...: how the members below count speakers
  Duration late_;
  Duration reach_;

  std::optional<Instant> newest_;
  Instant forgets_from_ = kAlways;
  std::vector<SensorAir> base_;      // what held just before readings_; by position
  std::vector<SensorAir> head_;      // what holds after all of readings_
  std::deque<AirReading> readings_;  // by time; older ones are in base_
  std::deque<Moment> moments_;       // by time; the first one stands for all time before it

  // Of the moment that was last asked for: the next question is mostly about the same one.
  template <class Figures>
  struct OfMoment {
    Instant from;
    Figures figures;
  };
  std::optional<OfMoment<Derived>> last_derived_;
  std::optional<OfMoment<culture::Air>> last_air_;
};

}  // namespace torpor::rules
