#include "rules/culture/forecast.h"

#include <tuple>

namespace torpor::rules::culture {
namespace {

double step_at(double hours) {
  if (hours < 3 * 24.0) return 6.0;
  return hours < 30 * 24.0 ? 12.0 : 48.0;
}

}  // namespace

bool sooner(const WakeTime& a, const WakeTime& b) {
  const auto rank = [](const WakeTime& wake) {
    switch (wake.kind) {
      case WakeTime::Kind::due:
        return 0;
      case WakeTime::Kind::within:
        return 1;
      case WakeTime::Kind::beyond:
        return 2;
      case WakeTime::Kind::unknown:
        break;
    }
    return 3;
  };
  return std::tuple(rank(a), a.hours) < std::tuple(rank(b), b.hours);
}

MemberForecast forecast(Member member, const Setting& setting, const Outlook& outlook,
                        bool slow_work_counts) {
  MemberForecast result;
  if (member.stack.empty()) return result;
  double progress = wake_progress(member, slow_work_counts);
  const double gained = member.gained;
  if (progress >= 1.0) result.wake = {WakeTime::Kind::due, 0.0};
  for (double hours = 0.0; hours < kSightHours;) {
    const double step = step_at(hours);
    Stretch stretch = outlook(hours);
    stretch.seconds = step * 3600.0;
    advance(member, stretch, setting);
    const double before = progress;
    progress = wake_progress(member, slow_work_counts);
    hours += step;
    if (hours <= 24.0) result.gain_per_day = (member.gained - gained) * 24.0 / hours;
    if (progress >= 1.0) {
      result.guild = leading_guild(member, slow_work_counts);
      if (result.wake.kind == WakeTime::Kind::unknown) {
        const double into = progress > before ? (1.0 - before) / (progress - before) : 1.0;
        result.wake = {WakeTime::Kind::within, hours - step * (1.0 - into)};
      }
      if (hours >= 24.0) return result;
    }
  }
  if (result.wake.kind == WakeTime::Kind::unknown) {
    result.wake = {WakeTime::Kind::beyond, kSightHours};
    result.guild = leading_guild(member, slow_work_counts);
  }
  return result;
}

}  // namespace torpor::rules::culture
