#include "rules/watch/local_hours.h"

#include <array>
#include <string_view>

#include <fmt/core.h>

namespace torpor::rules {
namespace {

using std::chrono::days;
using std::chrono::floor;
using std::chrono::minutes;

constexpr int kMinutesPerDay = 24 * 60;

minutes offset_at(Instant t, const UtcOffset& offset) { return offset ? offset(t) : minutes(0); }

int minute_of_day(Instant local) {
  return static_cast<int>(floor<minutes>(local - floor<days>(local)).count());
}

bool is_quiet(int minute, const QuietHours& quiet) {
  if (quiet.from_minute <= quiet.to_minute) {
    return minute >= quiet.from_minute && minute < quiet.to_minute;
  }
  return minute >= quiet.from_minute || minute < quiet.to_minute;
}

}  // namespace

Instant after_quiet(Instant t, const std::optional<QuietHours>& quiet, const UtcOffset& offset) {
  if (!quiet) return t;
  // Twice, because the clocks may change during the night: the second look corrects the first.
  for (int look = 0; look < 2; ++look) {
    const Instant local = t + offset_at(t, offset);
    const int minute = minute_of_day(local);
    if (!is_quiet(minute, *quiet)) return t;
    const int wait = (quiet->to_minute - minute + kMinutesPerDay) % kMinutesPerDay;
    const Instant end = floor<minutes>(local) + minutes(wait) - offset_at(t, offset);
    t = end - (offset_at(end, offset) - offset_at(t, offset));
  }
  return t;
}

std::string clock_text(Instant t, Instant now, const UtcOffset& offset) {
  constexpr std::array<std::string_view, 12> kMonths{"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                                     "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
  const Instant local = t + offset_at(t, offset);
  const Instant local_now = now + offset_at(now, offset);
  const int minute = minute_of_day(local);
  std::string time = fmt::format("{:02}:{:02}", minute / 60, minute % 60);
  if (floor<days>(local) == floor<days>(local_now)) return time;
  const std::chrono::year_month_day date(floor<days>(local));
  return fmt::format("{} {} {}", static_cast<unsigned>(date.day()),
                     kMonths[static_cast<unsigned>(date.month()) - 1], time);
}

std::string round_duration(Duration duration) {
  const auto seconds = std::chrono::round<std::chrono::seconds>(duration).count();
  // Each unit from one and a half of it on: "90 min" says more than "2 h".
  if (seconds < 90) return fmt::format("{} s", seconds);
  if (seconds < 5400) return fmt::format("{} min", (seconds + 30) / 60);
  if (seconds < 129600) return fmt::format("{} h", (seconds + 1800) / 3600);
  return fmt::format("{} d", (seconds + 43200) / 86400);
}

}  // namespace torpor::rules
