// What the air of a place was lately, kept small: its mean over the last days, and the last day
// hour by hour. What "the air there" means when a jar is to be moved or a room to be aired. Whole
// hours (UTC) only, taken in when no late reading can change them any more.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "rules/watch/air_timeline.h"
#include "sensors/quantity.h"

namespace torpor::rules {

class LatelyAir {
 public:
  // Half of the mean is of the last two days, nine tenths of the last week.
  static constexpr double kMemoryHours = 72.0;
  // Less known air than this says nothing of a place.
  static constexpr double kLeastHours = 6.0;

  struct Air {
    Celsius temperature;
    std::optional<Pascal> vapour;  // nullopt: its humidity was not known
    friend bool operator==(const Air&, const Air&) = default;
  };

  // Takes in the hours that have ended by `horizon`, up to which the timeline does not change any
  // more and from which on it is exact.
  void settle(AirTimeline& air, Instant horizon);

  // nullopt: hardly known.
  [[nodiscard]] std::optional<Air> mean() const;
  // Of the last day, the hour that begins at this hour of the day, UTC; nullopt: not known.
  [[nodiscard]] std::optional<Air> hour_of_day(int hour) const;

  // ---- for the snapshot -------------------------------------------------------------------------
  struct Hour {
    bool known = false, humid = false;
    float temperature = 0.0F, vapour = 0.0F;  // degC and Pa, means
    friend bool operator==(const Hour&, const Hour&) = default;
  };
  struct Saved {
    std::optional<Instant> settled;  // whole hours up to here are taken in
    // Hours that count, and their sums of temperature and of vapour, each less by its age.
    double hours = 0.0, temperature = 0.0, humid_hours = 0.0, vapour = 0.0;
    std::array<Hour, 24> day{};  // by hour of the day
    friend bool operator==(const Saved&, const Saved&) = default;
  };
  [[nodiscard]] const Saved& save() const { return now_; }
  void restore(const Saved& saved) { now_ = saved; }

 private:
  void take_in(const Hour& hour, Instant from);

  Saved now_;
};

}  // namespace torpor::rules
