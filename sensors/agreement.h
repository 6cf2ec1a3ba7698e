// Whether the sensors of one place agree, hour by hour, and whether one drifts away from the others
// over weeks. A single sensor is judged by trust.h; what a check against a salt found is in
// calibration.h.
#pragma once

#include <optional>
#include <vector>

#include "sensors/trust.h"

namespace torpor {

// One quantity of the air sensors hanging at one place. Feed it believed readings, each sensor's in
// order of measuring. Compared are means of whole hours with the median of all, the hour before
// included: a sensor that follows the air an hour late is no liar. Memory: a month of daily
// differences a sensor.
class Agreement {
 public:
  Agreement(Quantity quantity, std::size_t sensors);

  // Precondition: sensor < sensors. Values in the canonical unit.
  void add(std::size_t sensor, Instant at, double value);

  // Of the last whole hour. With two sensors that disagree nobody can say which one lies: both are
  // doubted and both are believed (kDisagrees alone). With three or more the odd one is not.
  [[nodiscard]] Judgement of(std::size_t sensor) const;
  // Canonical unit, signed, mean of the last whole hour minus the median; nullopt: nothing to
  // compare with.
  [[nodiscard]] std::optional<double> difference(std::size_t sensor) const;

  // The hour that runs has another number: the clock was wrong.
  template <class Carry>
  void carry_hour(const Carry& carry) {
    if (hour_) hour_ = carry(*hour_);
  }

  // Everything it remembers, for a snapshot.
  template <class Fields>
  void visit_fields(Fields& fields) {
    fields(voices_, hour_, median_before_, compared_);
  }

 private:
  struct Voice {
    template <class Fields>
    void visit_fields(Fields& fields) {
      fields(sum, count, difference, hours_apart, hours_agreed, apart, day_sum, day_hours, days,
             beginning);
    }

    double sum = 0.0;  // of the hour that runs
    int count = 0;
    std::optional<double> difference;
    int hours_apart = 0;   // in a row
    int hours_agreed = 0;  // in a row
    bool apart = false;
    double day_sum = 0.0;
    int day_hours = 0;
    std::vector<double> days;       // daily mean differences, oldest first
    std::vector<double> beginning;  // the first week's
  };

  void close_hour();
  void close_day();
  [[nodiscard]] std::optional<double> drift(const Voice& voice) const;

  Quantity quantity_;
  std::vector<Voice> voices_;
  std::optional<std::int64_t> hour_;  // since 1970
  std::optional<double> median_before_;
  std::size_t compared_ = 0;  // sensors in the last whole hour
};

}  // namespace torpor
