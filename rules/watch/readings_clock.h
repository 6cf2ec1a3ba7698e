// Time by the sensors' own stamps: the newest one of all, less what a sensor's clock is found to be
// ahead. Histories that come in the order of measuring go by the newest stamp alone. A sensor is
// ahead when what the others stamp keeps coming behind it.
//
// Nothing is held against a sensor that is behind: it carries no time, and its values count for as
// long as they hold.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "sensors/reading.h"

namespace torpor::rules {

class ReadingsClock {
 public:
  // Messages of one moment overtake each other by less.
  static constexpr Duration kLeast = std::chrono::seconds(5);
  // Further ahead is refused where there is a wall clock to tell, and is a backlog here.
  static constexpr Duration kMost = std::chrono::minutes(5);
  // Messages that come behind, of any sensors, before it is believed.
  static constexpr int kConvinced = 3;

  explicit ReadingsClock(std::size_t sensors) : sensors_(sensors) {}

  // A sensor has stamped a reading with its newest time. Answers the time that this carries on to.
  // `now`: what it had been carried to; nullopt: there was none.
  [[nodiscard]] Instant heard(std::size_t sensor, Instant stamp, std::optional<Instant> now);
  [[nodiscard]] Duration ahead(std::size_t sensor) const { return sensors_[sensor].ahead; }

  // ---- for the snapshot -----------------------------------------------------------------------
  struct Sensor {
    Duration ahead{};
    int behind = 0;  // messages in a row
    Duration by{};   // the least of them
    bool heard = false;
    friend bool operator==(const Sensor&, const Sensor&) = default;
  };
  [[nodiscard]] const std::vector<Sensor>& save() const { return sensors_; }
  [[nodiscard]] std::size_t carrier() const { return carrier_; }
  void restore(std::size_t sensor, const Sensor& saved) { sensors_[sensor] = saved; }
  void restore_carrier(std::size_t sensor) { carrier_ = sensor; }

 private:
  void correct(std::size_t witness);

  std::vector<Sensor> sensors_;
  std::size_t carrier_ = 0;  // that carried time on last
};

}  // namespace torpor::rules
