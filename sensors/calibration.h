// Dated checks of one sensor against a reference, and the correction that follows from them at any
// moment. Applied when a reading is read, never when it is stored: a check told late or withdrawn
// changes what the past is taken for and rewrites nothing.
#pragma once

#include <functional>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "sensors/reading.h"

namespace torpor {

// One comparison. Canonical units.
struct Check {
  Instant at;
  Quantity quantity = Quantity::humidity;
  double expected = 0.0;     // what the reference is: a salt, melting ice
  double shown = 0.0;        // what the sensor said, uncorrected
  double uncertainty = 0.0;  // of the comparison, one standard deviation
  template <class Fields>
  void visit_fields(Fields& fields) {  // for a snapshot
    fields(at, quantity, expected, shown, uncertainty);
  }
  friend bool operator==(const Check&, const Check&) = default;
};

// corrected = gain * shown + offset.
struct Correction {
  double gain = 1.0;
  double offset = 0.0;
  double uncertainty = 0.0;           // of the corrected value, one standard deviation
  std::optional<Instant> checked_at;  // the newest check it rests on; nullopt: never checked
  int points = 0;                     // 0, 1 or 2
  [[nodiscard]] double apply(double shown) const { return gain * shown + offset; }
  friend bool operator==(const Correction&, const Correction&) = default;
};

// All checks of one sensor. A check holds from its own date on, and until the next one: what the
// sensor said before a check is not corrected by it, because nobody knows when it moved. Two
// humidity checks within 14 days at humidities 20 % or more apart correct the slope as well.
class Calibration {
 public:
  // In any order; a second one of the same moment and quantity replaces the first.
  void add(const Check& check);
  // True: it was there.
  bool withdraw(Quantity quantity, Instant at);
  [[nodiscard]] Correction at(Quantity quantity, Instant when) const;
  [[nodiscard]] const std::vector<Check>& checks() const { return checks_; }
  friend bool operator==(const Calibration&, const Calibration&) = default;

 private:
  std::vector<Check> checks_;  // by time
};

// Of all sensors, by id; one that is not among them was never checked.
using Calibrations = std::map<std::string, Calibration, std::less<>>;

[[nodiscard]] const Calibration& calibration_of(const Calibrations& calibrations,
                                                std::string_view sensor);

// One standard deviation of the error that a corrected value still has at `when`, as the jars'
// models take it. It grows with the time since the check in steps of 30 days, so that one day's air
// is one air.
[[nodiscard]] double expected_error(const Calibration& calibration, Quantity quantity,
                                    Instant when);

// The reading's value in the canonical unit, corrected by the check that holds at its time. A
// humidity stays within 0 to 100 %; without a check it is the reading's own value.
[[nodiscard]] double corrected(const Calibration& calibration, const Reading& reading);
[[nodiscard]] double corrected(const Calibrations& calibrations, const Reading& reading);

}  // namespace torpor
