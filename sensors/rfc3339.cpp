// Grammar (RFC 3339, section 5.6):
//   date-time = year "-" month "-" day ("T" / "t" / " ") hour ":" minute ":" second
//               ["." 1*DIGIT] ("Z" / "z" / ("+" / "-") hour ":" minute)
// Valid:   2026-03-02T18:30:00Z   2026-03-02 18:30:00.25+01:00   1990-12-31T15:59:60-08:00
// Invalid: 2026-03-02T18:30Z (no seconds)   2026-03-02T18:30:00 (no offset)   2026-02-29T00:00:00Z
#include "sensors/rfc3339.h"

#include <fmt/format.h>

#include <chrono>

namespace torpor {
namespace {

using std::chrono::hours;
using std::chrono::minutes;
using std::chrono::seconds;

// Reads the text from left to right; the first thing that does not fit spoils the whole.
class Scanner {
 public:
  explicit Scanner(std::string_view text) : rest_(text) {}

  [[nodiscard]] bool good() const { return good_; }
  [[nodiscard]] bool at_end() const { return rest_.empty(); }
  [[nodiscard]] char peek() const { return rest_.empty() ? '\0' : rest_.front(); }

  // Exactly `digits` digits, between lowest and highest.
  int number(int digits, int lowest, int highest) {
    int value = 0;
    for (int i = 0; i < digits; ++i) value = value * 10 + digit();
    if (value < lowest || value > highest) good_ = false;
    return value;
  }

  // One character out of `allowed`.
  void one_of(std::string_view allowed) {
    if (rest_.empty() || allowed.find(rest_.front()) == std::string_view::npos) {
      good_ = false;
    } else {
      rest_.remove_prefix(1);
    }
  }

  // "" or "." and at least one digit; what is finer than a millisecond is cut off.
  Duration fraction() {
    if (peek() != '.') return Duration(0);
    rest_.remove_prefix(1);
    int milliseconds = digit() * 100;
    for (int weight = 10; is_digit(peek()); weight /= 10) milliseconds += digit() * weight;
    return Duration(milliseconds);
  }

 private:
  static bool is_digit(char c) { return c >= '0' && c <= '9'; }

  int digit() {
    if (!is_digit(peek())) {
      good_ = false;
      return 0;
    }
    const int value = rest_.front() - '0';
    rest_.remove_prefix(1);
    return value;
  }

  std::string_view rest_;
  bool good_ = true;
};

Duration read_offset(Scanner& scan) {
  const char sign = scan.peek();
  scan.one_of("Zz+-");
  if (sign == 'Z' || sign == 'z') return Duration(0);
  const hours hour(scan.number(2, 0, 23));
  scan.one_of(":");
  const minutes minute(scan.number(2, 0, 59));
  const Duration offset = hour + minute;
  return sign == '-' ? -offset : offset;
}

// Leap seconds are inserted only as 23:59:60 UTC.
bool ends_a_utc_day(Instant second_after) {
  return second_after == std::chrono::floor<std::chrono::days>(second_after);
}

}  // namespace

std::optional<Instant> parse_rfc3339(std::string_view text) {
  Scanner scan(text);
  const std::chrono::year year(scan.number(4, 0, 9999));
  scan.one_of("-");
  const std::chrono::month month(static_cast<unsigned>(scan.number(2, 1, 12)));
  scan.one_of("-");
  const std::chrono::day day(static_cast<unsigned>(scan.number(2, 1, 31)));
  scan.one_of("Tt ");
  const hours hour(scan.number(2, 0, 23));
  scan.one_of(":");
  const minutes minute(scan.number(2, 0, 59));
  scan.one_of(":");
  const seconds second(scan.number(2, 0, 60));
  const Duration fraction = scan.fraction();
  const Duration offset = read_offset(scan);

  const std::chrono::year_month_day date(year, month, day);
  if (!scan.good() || !scan.at_end() || !date.ok()) return std::nullopt;
  const Instant whole = std::chrono::sys_days(date) + hour + minute + second - offset;
  if (second == seconds(60) && !ends_a_utc_day(whole)) return std::nullopt;
  return whole + fraction;
}

std::string to_rfc3339(Instant instant) {
  const auto day = std::chrono::floor<std::chrono::days>(instant);
  const std::chrono::year_month_day date(day);
  const std::chrono::hh_mm_ss time(instant - day);
  std::string text =
      fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}", static_cast<int>(date.year()),
                  static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()),
                  time.hours().count(), time.minutes().count(), time.seconds().count());
  if (time.subseconds().count() != 0) text += fmt::format(".{:03}", time.subseconds().count());
  return text + "Z";
}

}  // namespace torpor
