#include "rules/watch/lately_air.h"

#include <algorithm>

namespace torpor::rules {
namespace {

constexpr Duration kHour = std::chrono::hours(1);
// exp(-1 h / kMemoryHours)
constexpr double kHourly = 0.98620711674391884;
// An hour counts when this much of it was known.
constexpr double kKnownShare = 0.5;
// After a longer silence nothing of what was before is worth keeping.
constexpr Duration kLongestSilence = std::chrono::days(14);

Instant hour_of(Instant t) { return std::chrono::floor<std::chrono::hours>(t); }

// Time-weighted means of [from, from + 1 h).
LatelyAir::Hour mean_of(AirTimeline& air, Instant from) {
  const Instant end = from + kHour;
  double known = 0.0, humid = 0.0, temperature = 0.0, vapour = 0.0;  // shares of the hour
  for (Instant t = from; t < end;) {
    const AirTimeline::Held held = air.held_at(t);
    const Instant until = std::min(held.until, end);
    const double share =
        static_cast<double>((until - t).count()) / static_cast<double>(kHour.count());
    if (held.air.has_temperature()) {
      known += share;
      temperature += share * held.air.temperature();
    }
    if (held.air.has_temperature() && held.air.has_humidity()) {
      humid += share;
      vapour += share * held.air.vapour();
    }
    t = until;
  }
  LatelyAir::Hour hour;
  hour.known = known >= kKnownShare;
  hour.humid = hour.known && humid >= kKnownShare;
  if (hour.known) hour.temperature = static_cast<float>(temperature / known);
  if (hour.humid) hour.vapour = static_cast<float>(vapour / humid);
  return hour;
}

}  // namespace

void LatelyAir::settle(AirTimeline& air, Instant horizon) {
  if (!now_.settled) {
    now_.settled = hour_of(horizon);
    return;
  }
  if (horizon - *now_.settled > kLongestSilence) {
    now_ = {};
    now_.settled = hour_of(horizon);
    return;
  }
  while (*now_.settled + kHour <= horizon) {
    take_in(mean_of(air, *now_.settled), *now_.settled);
    *now_.settled += kHour;
  }
}

void LatelyAir::take_in(const Hour& hour, Instant from) {
  for (double* sum : {&now_.hours, &now_.temperature, &now_.humid_hours, &now_.vapour}) {
    *sum *= kHourly;
  }
  if (hour.known) {
    now_.hours += 1.0;
    now_.temperature += static_cast<double>(hour.temperature);
  }
  if (hour.humid) {
    now_.humid_hours += 1.0;
    now_.vapour += static_cast<double>(hour.vapour);
  }
  const auto of_day = static_cast<std::size_t>((unix_ms(from) / kHour.count()) % 24);
  now_.day[of_day] = hour;
}

std::optional<LatelyAir::Air> LatelyAir::mean() const {
  if (now_.hours < kLeastHours) return std::nullopt;
  Air air{Celsius(now_.temperature / now_.hours), std::nullopt};
  if (now_.humid_hours >= kLeastHours) air.vapour = Pascal(now_.vapour / now_.humid_hours);
  return air;
}

std::optional<LatelyAir::Air> LatelyAir::hour_of_day(int hour) const {
  const Hour& known = now_.day[static_cast<std::size_t>(hour)];
  if (!known.known) return std::nullopt;
  Air air{Celsius(static_cast<double>(known.temperature)), std::nullopt};
  if (known.humid) air.vapour = Pascal(static_cast<double>(known.vapour));
  return air;
}

}  // namespace torpor::rules
