#include "daemon/report/local_days.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cstdint>
#include <optional>
#include <string_view>

namespace torpor::daemon {
namespace {

using std::chrono::days;
using std::chrono::hours;
using std::chrono::sys_days;
using std::chrono::year_month_day;

// What 320 pixels hold side by side.
constexpr std::size_t kLabels = 6;

// Local time as if it were UTC.
Instant as_local(Instant instant, const LocalTime& zone) { return instant + zone.offset(instant); }

// The instant of a local time. Where the clock change skips or doubles it, an hour to either side.
Instant from_local(Instant local, const LocalTime& zone) {
  const Instant guess = local - zone.offset(local);
  return local - zone.offset(guess);
}

year_month_day date_of_local(Instant local) {
  return year_month_day(std::chrono::floor<days>(local));
}

std::string_view month_name(year_month_day day) {
  static constexpr std::array<std::string_view, 12> kMonths = {
      "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
  return kMonths.at(static_cast<unsigned>(day.month()) - 1);
}

std::string clock_of_local(Instant local) {
  const auto of_day =
      std::chrono::floor<std::chrono::minutes>(local - std::chrono::floor<days>(local));
  return fmt::format("{:02}:{:02}", of_day.count() / 60, of_day.count() % 60);
}

enum class Unit { hour, day, month, year };
struct Step {
  Unit unit;
  int count;
};
// From fine to coarse. Days are counted from a Monday, so that 7 of them are a week.
constexpr std::array<Step, 15> kSteps = {{{Unit::hour, 1},
                                          {Unit::hour, 3},
                                          {Unit::hour, 6},
                                          {Unit::hour, 12},
                                          {Unit::day, 1},
                                          {Unit::day, 2},
                                          {Unit::day, 3},
                                          {Unit::day, 7},
                                          {Unit::day, 14},
                                          {Unit::month, 1},
                                          {Unit::month, 3},
                                          {Unit::month, 6},
                                          {Unit::year, 1},
                                          {Unit::year, 2},
                                          {Unit::year, 5}}};

double typical_hours(Step step) {
  constexpr std::array<double, 4> kHours = {1.0, 24.0, 730.5, 8766.0};
  return kHours.at(static_cast<std::size_t>(step.unit)) * step.count;
}

// The latest round local time at or before `local`.
Instant round_down(Instant local, Step step) {
  const auto midnight = std::chrono::floor<days>(local);
  const year_month_day date = date_of_local(local);
  switch (step.unit) {
    case Unit::hour:
      return midnight +
             hours(std::chrono::floor<hours>(local - midnight).count() / step.count * step.count);
    case Unit::day: {
      // 1970-01-05 was a Monday.
      const std::int64_t number = midnight.time_since_epoch().count() - 4;
      const std::int64_t over = ((number % step.count) + step.count) % step.count;
      return midnight - days(over);
    }
    case Unit::month: {
      const unsigned month = (static_cast<unsigned>(date.month()) - 1) /
                                 static_cast<unsigned>(step.count) *
                                 static_cast<unsigned>(step.count) +
                             1;
      return sys_days(date.year() / std::chrono::month(month) / 1);
    }
    case Unit::year:
      break;
  }
  const int year = static_cast<int>(date.year()) / step.count * step.count;
  return sys_days(std::chrono::year(year) / 1 / 1);
}

Instant next(Instant local, Step step) {
  const year_month_day date = date_of_local(local);
  switch (step.unit) {
    case Unit::hour:
      return local + hours(step.count);
    case Unit::day:
      return local + days(step.count);
    case Unit::month:
      return sys_days(date + std::chrono::months(step.count));
    case Unit::year:
      break;
  }
  return sys_days(date + std::chrono::years(step.count));
}

std::string label_of(Instant local, Step step, bool with_year) {
  const year_month_day date = date_of_local(local);
  const int year = static_cast<int>(date.year());
  if (step.unit == Unit::year) return fmt::format("{}", year);
  if (step.unit == Unit::month) {
    return with_year ? fmt::format("{} {}", month_name(date), year) : std::string(month_name(date));
  }
  std::string day = fmt::format("{} {}", static_cast<unsigned>(date.day()), month_name(date));
  if (with_year) day += fmt::format(" {}", year);
  if (step.unit == Unit::day) return day;
  const bool midnight = local == std::chrono::floor<days>(local);
  return midnight || with_year ? day + (midnight ? "" : " " + clock_of_local(local))
                               : clock_of_local(local);
}

std::vector<Instant> round_times(Instant from, Instant to, Step step, const LocalTime& zone) {
  std::vector<Instant> times;  // local
  const Instant end = as_local(to, zone);
  for (Instant local = round_down(as_local(from, zone), step); local <= end;
       local = next(local, step)) {
    const Instant at = from_local(local, zone);
    if (at >= from && at <= to) times.push_back(local);
  }
  return times;
}

}  // namespace

std::string day_words(Instant instant, const LocalTime& zone) {
  const year_month_day date = date_of_local(as_local(instant, zone));
  return fmt::format("{} {} {}", static_cast<unsigned>(date.day()), month_name(date),
                     static_cast<int>(date.year()));
}

std::string moment_words(Instant instant, const LocalTime& zone) {
  return day_words(instant, zone) + ' ' + clock_of_local(as_local(instant, zone));
}

std::vector<AxisMark> axis_marks(Instant from, Instant to, const LocalTime& zone) {
  const double span = std::chrono::duration<double, std::ratio<3600>>(to - from).count();
  // The finest step that does not need more labels than there is room for.
  std::size_t chosen = kSteps.size() - 1;
  for (std::size_t i = 0; i < kSteps.size(); ++i) {
    if (span / typical_hours(kSteps.at(i)) <= static_cast<double>(kLabels)) {
      chosen = i;
      break;
    }
  }
  const Step labelled = kSteps.at(chosen);
  const std::vector<Instant> words = round_times(from, to, labelled, zone);
  // Finer marks between the labels, where they are not a comb.
  const Step fine = kSteps.at(chosen > 1 ? chosen - 2 : 0);
  std::vector<AxisMark> marks;
  std::optional<std::chrono::year> year;
  for (const Instant local : words) {
    const std::chrono::year of_this = date_of_local(local).year();
    marks.push_back({from_local(local, zone), label_of(local, labelled, of_this != year)});
    year = of_this;
  }
  for (const Instant local : round_times(from, to, fine, zone)) {
    if (std::find(words.begin(), words.end(), local) == words.end()) {
      marks.push_back({from_local(local, zone), ""});
    }
  }
  std::stable_sort(marks.begin(), marks.end(),
                   [](const AxisMark& a, const AxisMark& b) { return a.at < b.at; });
  return marks;
}

}  // namespace torpor::daemon
