#include "daemon/ledger/local_time.h"

#include <date/tz.h>
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <exception>
#include <filesystem>
#include <optional>
#include <system_error>
#include <vector>

#include "config/fault.h"
#include "sensors/payload.h"
#include "sensors/rfc3339.h"

namespace torpor::daemon {

struct LocalTime::Zone {
  std::string name;
  const date::time_zone* rules = nullptr;  // lives as long as the process; null: plain UTC
};

namespace {

using std::chrono::floor;
using std::chrono::hours;
using std::chrono::minutes;
using std::chrono::seconds;

constexpr std::string_view kForm =
    "write 2026-03-02T18:30, or with its offset 2026-03-02T18:30+01:00";

// A date and perhaps a time as written, not yet tied to a zone.
struct Written {
  date::year_month_day day{};
  std::optional<seconds> time_of_day;
  std::string_view clock;   // "18:30" or "18:30:15.2"
  std::string_view offset;  // "Z", "+01:00"; empty: none
  bool has_seconds = false;
  bool leap_second = false;
};

// Exactly `count` digits at `position`, else nullopt.
std::optional<int> digits_at(std::string_view text, std::size_t position, std::size_t count) {
  if (text.size() < position + count) return std::nullopt;
  int value = 0;
  for (const char c : text.substr(position, count)) {
    if (c < '0' || c > '9') return std::nullopt;
    value = value * 10 + (c - '0');
  }
  return value;
}

bool char_at(std::string_view text, std::size_t position, std::string_view any_of) {
  return position < text.size() && any_of.find(text[position]) != std::string_view::npos;
}

std::optional<Written> split(std::string_view text) {
  constexpr std::size_t kDateLength = 10;
  const auto year = digits_at(text, 0, 4);
  const auto month = digits_at(text, 5, 2);
  const auto day = digits_at(text, 8, 2);
  if (!year || !month || !day || !char_at(text, 4, "-") || !char_at(text, 7, "-")) {
    return std::nullopt;
  }
  Written written;
  written.day = date::year(*year) / date::month(static_cast<unsigned>(*month)) /
                date::day(static_cast<unsigned>(*day));
  if (text.size() == kDateLength) return written;

  const auto hour = digits_at(text, 11, 2);
  const auto minute = digits_at(text, 14, 2);
  if (!hour || !minute || !char_at(text, kDateLength, "Tt ") || !char_at(text, 13, ":")) {
    return std::nullopt;
  }
  std::size_t end = 16;
  int second = 0;
  if (char_at(text, end, ":")) {
    const auto read = digits_at(text, end + 1, 2);
    if (!read) return std::nullopt;
    second = *read;
    written.has_seconds = true;
    end += 3;
    if (char_at(text, end, ".")) {
      const std::size_t fraction_end = text.find_first_not_of("0123456789", end + 1);
      if (fraction_end == end + 1 || text.size() == end + 1) return std::nullopt;
      end = std::min(fraction_end, text.size());
    }
  }
  if (*hour > 23 || *minute > 59 || second > 60) return std::nullopt;
  written.clock = text.substr(11, end - 11);
  written.offset = text.substr(end);
  written.leap_second = second == 60;
  written.time_of_day = hours(*hour) + minutes(*minute) + seconds(second);
  return written;
}

std::string offset_text(seconds offset) {
  const auto whole = std::chrono::duration_cast<minutes>(offset).count();
  const auto size = whole < 0 ? -whole : whole;
  return fmt::format("{}{:02}:{:02}", whole < 0 ? '-' : '+', size / 60, size % 60);
}

template <class Time>
std::string clock_text(Time time) {
  const auto day = floor<date::days>(time);
  const auto of_day = floor<minutes>(time - day);
  return fmt::format("{:02}:{:02}", of_day.count() / 60, of_day.count() % 60);
}

template <class Time>
std::string date_text(Time time) {
  const date::year_month_day day(floor<date::days>(time));
  return fmt::format("{:04}-{:02}-{:02}", static_cast<int>(day.year()),
                     static_cast<unsigned>(day.month()), static_cast<unsigned>(day.day()));
}

std::string as_written(const Written& written) {
  return fmt::format("{}T{}", date_text(date::local_days(written.day)), written.clock);
}

// The clock change skipped this local time: either of its two offsets gives a moment.
std::string skipped_text(const Written& written, date::local_seconds local,
                         const date::local_info& info, std::string_view zone) {
  const seconds before = info.first.offset;
  const seconds after = info.second.offset;
  const std::string text = as_written(written);
  return fmt::format(
      "{} does not exist in {}: the clocks went forward over it; write {}{} (which the clocks "
      "showed as {}) or {}{} (shown as {})",
      text, zone, text, offset_text(before), clock_text(local - before + after), text,
      offset_text(after), clock_text(local - after + before));
}

std::string doubled_text(const Written& written, const date::local_info& info,
                         std::string_view zone) {
  const std::string text = as_written(written);
  return fmt::format(
      "{} happened twice in {}: the clocks went back over it; write {}{} for the first or {}{} for "
      "the second",
      text, zone, text, offset_text(info.first.offset), text, offset_text(info.second.offset));
}

std::string unknown_zone_text(std::string_view zone) {
  std::vector<std::string> names;
  for (const date::time_zone& known : date::get_tzdb().zones) names.push_back(known.name());
  const std::string nearest = config::nearest_word(std::string(zone), names);
  return fmt::format("\"{}\" is not a time zone that this system knows; {}", excerpt(zone),
                     nearest.empty() ? std::string("write a name such as Europe/Vienna")
                                     : fmt::format("did you mean {}?", nearest));
}

// The C library's rule: without /etc/localtime local time is UTC.
bool system_has_no_zone() {
  std::error_code ignored;  // an unreadable /etc says the same as an absent file
  return !std::filesystem::exists("/etc/localtime", ignored);
}

}  // namespace

LocalTime::LocalTime(std::shared_ptr<const Zone> zone) : zone_(std::move(zone)) {}

tl::expected<LocalTime, std::string> LocalTime::in_zone(std::string_view zone) {
  const auto utc = [] { return LocalTime(std::make_shared<const Zone>(Zone{"UTC", nullptr})); };
  // Works on a board without tzdata too.
  if (zone == "UTC" || (zone.empty() && system_has_no_zone())) return utc();
  try {
    const date::time_zone* rules = zone.empty() ? date::current_zone() : date::locate_zone(zone);
    // Reads the zone's file now, so that a damaged one is found here and not within a sentence.
    (void)rules->get_info(date::sys_seconds{});
    return LocalTime(std::make_shared<const Zone>(Zone{rules->name(), rules}));
  } catch (const std::exception&) {
    if (zone.empty()) {
      return tl::unexpected(std::string(
          "the system's time zone cannot be told from /etc/localtime; set it in the configuration, "
          "such as `zone: Europe/Vienna`"));
    }
  }
  try {
    return tl::unexpected(unknown_zone_text(zone));
  } catch (const std::exception&) {
    return tl::unexpected(
        fmt::format("the time zone \"{}\" cannot be read: this system's zone table is missing; "
                    "install the package tzdata or write `zone: UTC`",
                    excerpt(zone)));
  }
}

tl::expected<Instant, std::string> LocalTime::parse(std::string_view text) const {
  const auto written = split(text);
  if (!written) {
    return tl::unexpected(fmt::format("\"{}\" is not a time; {}", excerpt(text), kForm));
  }
  if (!written->day.ok()) {
    return tl::unexpected(
        fmt::format("there is no day {} in the calendar; {}", text.substr(0, 10), kForm));
  }
  if (!written->offset.empty()) {
    const auto instant = parse_rfc3339(fmt::format(
        "{}{}{}", as_written(*written), written->has_seconds ? "" : ":00", written->offset));
    if (instant) return *instant;
    return tl::unexpected(fmt::format("\"{}\" is not a time; {}", excerpt(text), kForm));
  }
  if (written->leap_second) {  // RFC 3339 knows it, the zone tables do not
    return tl::unexpected(fmt::format("\"{}\" is not a time; {}", excerpt(text), kForm));
  }
  const date::local_seconds local =
      date::local_days(written->day) + written->time_of_day.value_or(seconds(0));
  if (zone_->rules == nullptr) return Instant(local.time_since_epoch());

  const date::local_info info = zone_->rules->get_info(local);
  if (info.result == date::local_info::unique) {
    return Instant(local.time_since_epoch() - info.first.offset);
  }
  // A day alone means its first moment, which exists also where the clocks change at midnight.
  if (!written->time_of_day) {
    if (info.result == date::local_info::nonexistent) return Instant(info.second.begin);
    return Instant(local.time_since_epoch() - info.first.offset);
  }
  return tl::unexpected(info.result == date::local_info::nonexistent
                            ? skipped_text(*written, local, info, zone_->name)
                            : doubled_text(*written, info, zone_->name));
}

std::string LocalTime::to_text(Instant instant) const {
  const Instant local = instant + offset(instant);
  return fmt::format("{} {}", date_text(local), clock_text(local));
}

std::string LocalTime::to_words(Instant instant) const {
  constexpr std::array<std::string_view, 7> kDays = {"Sun", "Mon", "Tue", "Wed",
                                                     "Thu", "Fri", "Sat"};
  constexpr std::array<std::string_view, 12> kMonths = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                                        "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
  const Instant local = instant + offset(instant);
  const auto day = floor<date::days>(local);
  const date::year_month_day civil{day};
  return fmt::format("{} {} {} {}", kDays[date::weekday(day).c_encoding()],
                     static_cast<unsigned>(civil.day()),
                     kMonths[static_cast<unsigned>(civil.month()) - 1], clock_text(local));
}

std::chrono::minutes LocalTime::offset(Instant instant) const {
  if (zone_->rules == nullptr) return minutes(0);
  return floor<minutes>(zone_->rules->get_info(floor<seconds>(instant)).offset);
}

const std::string& LocalTime::zone() const { return zone_->name; }

}  // namespace torpor::daemon
