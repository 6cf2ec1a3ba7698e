// Own warmth of a jar: the probe in the culture against the temperature the air alone explains, by
// a one-sided cumulative sum (Page 1954, Biometrika 41:100).
#pragma once

#include <algorithm>

#include "rules/culture/profile.h"

namespace torpor::rules::culture {

class SelfHeating {
 public:
  // A stretch over which the probe was `excess` K above the model. The sum grows by what exceeds
  // the allowance and never falls below 0. Exact however a stretch of constant excess is split,
  // upwards; downwards too, for the floor at 0 is the same from every split.
  void add(double excess, double hours, const Parameters& set) {
    sum_ = std::max(0.0, sum_ + (excess - set.self_heating_allowance) * hours);
    // Nothing more is learnt from a larger sum, and a jar that cools must be seen to within days.
    sum_ = std::min(sum_, 4.0 * set.self_heating_limit);
    excess_ = excess;
    known_ = true;
  }
  [[nodiscard]] bool heating(const Parameters& set) const { return sum_ > set.self_heating_limit; }
  [[nodiscard]] bool known() const { return known_; }
  [[nodiscard]] double excess() const { return excess_; }  // K, of the last stretch
  [[nodiscard]] double sum() const { return sum_; }        // K h
  void reset() { *this = SelfHeating{}; }

  template <class Archive>
  void fields(Archive& archive) {
    archive(sum_);
    archive(excess_);
    archive(known_);
  }

 private:
  double sum_ = 0.0;
  double excess_ = 0.0;
  bool known_ = false;
};

}  // namespace torpor::rules::culture
