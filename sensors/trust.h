// Whether one sensor's readings can be believed, judged one by one as they arrive, from that sensor
// alone. It knows no neighbours (agreement.h), corrects nothing (calibration.h) and drops nothing:
// a doubted reading is kept raw, and whoever uses it asks Judgement::trusted().
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "sensors/reading.h"

namespace torpor {

// Why a reading or a sensor is doubted; combined with |. Stored: do not renumber.
enum Doubt : std::uint16_t {
  kNoDoubt = 0,
  kImpossible = 1,        // outside the quantity's physical range
  kJump = 2,              // a change faster than air can make it
  kWrongUnit = 4,         // the value fits what came before in another unit
  kStuck = 8,             // no change for longer than this air is ever that calm
  kSaturated = 16,        // humidity at its stop, as after dew
  kTwoDevices = 32,       // two devices take turns on one topic
  kSilent = 64,           // nothing for too long; about the sensor, not about a reading
  kLowBattery = 128,      // about the sensor
  kClockAstray = 256,     // its time stamps; about the sensor
  kDisagrees = 512,       // with the sensors beside it; see agreement.h
  kOddOneOut = 1024,      // disagrees while the others, two or more, agree
  kDrifts = 2048,         // away from the sensors beside it, over weeks
  kLeap = 4096,           // a jump that no draught and no sunbeam makes
  kInCheck = 8192,        // it lies in a salt's vapour or in ice: its readings are not of the air
  kBatteryAstray = 16384  // it tells a charge that no battery has; about the sensor
};
// A reading with one of these is counted as uncovered by rules and model. A jump alone is told and
// believed: heat that is real must not wait for trust.
inline constexpr std::uint16_t kUnbelieved =
    kImpossible | kLeap | kWrongUnit | kStuck | kSaturated | kTwoDevices | kOddOneOut | kInCheck;

struct Judgement {
  std::uint16_t doubts = kNoDoubt;
  std::vector<std::string> reasons;  // one line a doubt, for a person: found, expected, what to do
  [[nodiscard]] bool trusted() const { return (doubts & kUnbelieved) == 0; }
};

// Where the sensor sits. Under a cover the humidity is held by the contents and hardly moves; in
// the weather, fog holds it at saturation for days.
enum class Surroundings { open_air, enclosed, weather };

// Judges one quantity of one sensor. Feed it in the order of measuring; a reading older than the
// newest is judged for its range only. Constant memory, constant time. Equal inputs, equal
// judgements.
class ValueTrust {
 public:
  ValueTrust(Quantity quantity, Surroundings surroundings);

  // `temperature`: what the sensor's own thermometer said last, degC; for humidity in the weather.
  [[nodiscard]] Judgement judge(const Reading& reading,
                                std::optional<double> temperature = std::nullopt);

  // Everything it remembers, for a snapshot: one list for writing and for reading back.
  template <class Fields>
  void visit_fields(Fields& fields) {
    fields(newest_, level_, elsewhere_from_, elsewhere_, elsewhere_count_, step_, calm_,
           longest_calm_, first_, wet_since_, dry_since_, saturated_, recent_, recent_count_,
           foggy_, coldest_);
  }

 private:
  struct Sample {
    double value = 0.0;
    Instant at;
    template <class Fields>
    void visit_fields(Fields& fields) {
      fields(value, at);
    }
  };
  struct Calm {  // a run of readings that stay within the sensor's own resolution
    double lowest = 0.0, highest = 0.0;
    Instant since;
    bool doubted = false;
    template <class Fields>
    void visit_fields(Fields& fields) {
      fields(lowest, highest, since, doubted);
    }
  };

  [[nodiscard]] bool air_can(const Sample& from, const Sample& to) const;
  void judge_change(const Sample& sample, Judgement& judgement);
  void judge_unit(const Sample& sample, Judgement& judgement);
  void judge_calm(const Sample& sample, Judgement& judgement);
  void judge_saturation(const Sample& sample, Judgement& judgement);
  void judge_fog(const Sample& sample, std::optional<double> temperature, Judgement& judgement);
  void judge_turns(const Sample& sample, Judgement& judgement);
  [[nodiscard]] Duration calm_allowed() const;

  Quantity quantity_;
  Surroundings surroundings_;
  std::optional<Sample> newest_;  // as it came
  std::optional<Sample> level_;   // the last one that was believed, in the right unit
  std::optional<Sample> elsewhere_from_,
      elsewhere_;  // a run that agrees with itself, not the level
  std::size_t elsewhere_count_ = 0;
  double step_ = 0.0;  // smallest change seen: the resolution; 0: none yet
  std::optional<Calm> calm_;
  Duration longest_calm_{};  // of runs that ended by creeping, as air does
  std::optional<Instant> first_;
  std::optional<Instant> wet_since_, dry_since_;
  bool saturated_ = false;
  std::array<double, 12> recent_{};  // newest last
  std::size_t recent_count_ = 0;
  std::optional<Instant> foggy_;   // saturated since, in the weather
  std::optional<Sample> coldest_;  // the thermometer since then, of the last hours
};

// The sensor as a whole: silence, clock and battery.
class SensorTrust {
 public:
  // `expected`: the configured interval; nullopt: learned from what arrives.
  explicit SensorTrust(std::optional<Duration> expected) : expected_(expected) {}

  // A message with this measuring time arrived. `own_clock`: the sensor stamped it itself.
  void heard(Instant measured_at, Instant received_at, bool own_clock);
  // As it was told, possible or not.
  void battery(double percent) { battery_ = percent; }

  // The interval that silence is counted in: the configured one, else the learned.
  [[nodiscard]] std::optional<Duration> interval() const {
    return expected_ ? expected_ : learned_interval();
  }
  // Longer than nine in ten of the last gaps between its messages, so that one that sends when
  // something changes, or temperature and humidity one after the other, is not taken for a fast
  // one. nullopt: fewer than 8 gaps are known.
  [[nodiscard]] std::optional<Duration> learned_interval() const;
  [[nodiscard]] Judgement at(Instant now) const;
  // nullopt: never told, or not to be believed.
  [[nodiscard]] std::optional<double> battery_percent() const;

  template <class Fields>
  void visit_fields(Fields& fields) {
    fields(last_measured_, last_received_, intervals_, interval_count_, delays_, delay_count_,
           battery_);
  }

 private:
  std::optional<Duration> expected_;
  std::optional<Instant> last_measured_, last_received_;
  std::array<Duration, 31> intervals_{};  // a ring
  std::size_t interval_count_ = 0;
  std::array<Duration, 20> delays_{};  // received minus measured, of live messages; a ring
  std::size_t delay_count_ = 0;
  std::optional<double> battery_;
};

}  // namespace torpor
