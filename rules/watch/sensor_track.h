// When one sensor spoke, and its newest readings. Not what its place's air is: air_timeline.h.
#pragma once

#include <array>
#include <optional>
#include <vector>

#include "sensors/reading.h"

namespace torpor::rules {

class SensorTrack {
 public:
  // Since when the watch knows the sensor; silence of one that never spoke counts from here.
  std::optional<Instant> first_known;

  // It has one of that quantity and time already, as far as `reach` behind the newest one. Of a
  // battery's charge only the newest counts: it has every older one.
  [[nodiscard]] bool has(const Reading& reading) const;
  // Takes in a reading that it does not have, believed or not. Who tells of its battery alone has
  // not spoken: nobody watches the jars meanwhile.
  void insert(const Reading& reading, bool believed, Duration reach);

  [[nodiscard]] const std::optional<Reading>& newest(Quantity quantity) const;
  [[nodiscard]] const std::optional<Reading>& newest_trusted(Quantity quantity) const;

  // Since when the sensor has been silent at `t`: its last reading by then, though never before
  // the watch knew it, so that a backlog from before the first start is no silence. nullopt: not
  // known at `t`. Exact for t from the newest reading - reach on.
  [[nodiscard]] std::optional<Instant> silent_since(Instant t) const;
  // The first reading after `t`.
  [[nodiscard]] std::optional<Instant> next_reading(Instant t) const;
  // When, after `t`, the first of its trusted values runs out; nullopt: none holds at `t`.
  [[nodiscard]] std::optional<Instant> next_expiry(Duration hold, Instant t) const;

  struct Spoken {
    Instant at;
    Quantity quantity = Quantity::temperature;
    friend auto operator<=>(const Spoken&, const Spoken&) = default;
  };

  // ---- for the snapshot -----------------------------------------------------------------------
  [[nodiscard]] const std::vector<Spoken>& spoken() const { return spoken_; }
  void restore(std::vector<Spoken> spoken, const std::vector<Reading>& newest,
               const std::vector<Reading>& newest_trusted);

 private:
  using PerQuantity = std::array<std::optional<Reading>, 3>;
  static std::size_t slot(Quantity quantity) { return static_cast<std::size_t>(quantity) - 1; }

  std::vector<Spoken> spoken_;  // by time
  PerQuantity newest_;
  PerQuantity newest_trusted_;
};

}  // namespace torpor::rules
