// Time to wake: a jar's members carried forward under the air it has had. An estimate, always with
// its range.
#pragma once

#include <array>
#include <functional>

#include "rules/culture/member.h"
#include "sensors/reading.h"

namespace torpor::rules::culture {

// Beyond this nothing is promised: 'not in sight'.
inline constexpr double kSightHours = 180.0 * 24.0;

struct WakeTime {
  // Stored and published by name: do not renumber.
  enum class Kind : std::uint8_t { unknown, due, within, beyond };
  Kind kind = Kind::unknown;
  double hours = 0.0;  // of `within`; 0 when due; kSightHours when beyond
  friend bool operator==(const WakeTime&, const WakeTime&) = default;
};
// Earlier first; unknown last.
[[nodiscard]] bool sooner(const WakeTime& a, const WakeTime& b);

// The air ahead, for one member: what it is `hours` from now.
using Outlook = std::function<Stretch(double hours)>;

struct MemberForecast {
  WakeTime wake;
  Guild guild = Guild::yeast;  // who wakes it
  double gain_per_day = 0.0;   // g of water through the mouth on the first day
};
// Carries a copy of the member forward until it wakes or is out of sight. Steps grow with the
// horizon: 6 h up to 3 d, 12 h up to 30 d, 2 d beyond; the crossing is interpolated.
[[nodiscard]] MemberForecast forecast(Member member, const Setting& setting, const Outlook& outlook,
                                      bool slow_work_counts);

}  // namespace torpor::rules::culture
