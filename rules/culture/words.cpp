#include "rules/culture/words.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "sensors/shown_number.h"

namespace torpor::rules::culture {
namespace {

std::string counted(double amount, const char* unit) {
  const long n = std::max(1L, std::lround(amount));
  return fmt::format("{} {}{}", n, unit, n == 1 ? "" : "s");
}

// Without the 'about', for the ends of a range.
std::string span_words(double hours) {
  constexpr double kDay = 24.0;
  if (hours < 36.0) return counted(hours, "hour");
  if (hours < 21 * kDay) return counted(hours / kDay, "day");
  if (hours < 70 * kDay) return counted(hours / (7 * kDay), "week");
  if (hours < 600 * kDay) return counted(hours / (30.4 * kDay), "month");
  return counted(hours / (365.25 * kDay), "year");
}

std::string end_words(const WakeTime& time) {
  switch (time.kind) {
    case WakeTime::Kind::due:
      return "now";
    case WakeTime::Kind::within:
      return span_words(time.hours);
    case WakeTime::Kind::beyond:
    case WakeTime::Kind::unknown:
      break;
  }
  return "not in sight";
}

}  // namespace

std::string round_words(double hours) { return "about " + span_words(hours); }

std::string to_words(const std::array<WakeTime, kMembers>& times) {
  const WakeTime& likely = times[kLikely];
  const std::string range =
      fmt::format("{} to {}", end_words(times[kCautious]), end_words(times[kHopeful]));
  switch (likely.kind) {
    case WakeTime::Kind::due:
      return fmt::format("due now (range {})", range);
    case WakeTime::Kind::within:
      return fmt::format("in {} (range {})", round_words(likely.hours), range);
    case WakeTime::Kind::beyond:
      if (times[kCautious].kind == WakeTime::Kind::beyond) return "not in sight within 180 days";
      return fmt::format("not in sight within 180 days (at the earliest: {})",
                         end_words(times[kCautious]));
    case WakeTime::Kind::unknown:
      break;
  }
  return "not known";
}

std::string gram_words(double grams) {
  if (grams < 1.0) return "less than 1 g";
  if (grams < 100.0) return fmt::format("about {:.0f} g", grams);
  if (grams < 1000.0) return fmt::format("about {:.0f} g", 10.0 * std::round(grams / 10.0));
  return fmt::format("about {} kg", shown_number(grams / 1000.0, 1));
}

std::string kitchen_words(double grams) {
  // Household weights of food tables, from memory: a US cup of sugar 190 to 220 g, a level
  // tablespoon a sixteenth of it.
  constexpr double kCup = 200.0, kSpoon = 12.5;
  constexpr std::array<std::string_view, 4> kQuarters{"", "1/4", "1/2", "3/4"};
  if (grams < 4.5 * kSpoon) return counted(grams / kSpoon, "tablespoon");
  const long quarters = std::max(1L, std::lround(4.0 * grams / kCup));
  std::string text = quarters >= 4 ? std::to_string(quarters / 4) : std::string();
  const std::string_view part = kQuarters[static_cast<std::size_t>(quarters % 4)];
  if (!text.empty() && !part.empty()) text += ' ';
  text += part;
  return text + (quarters <= 4 ? " cup" : " cups");
}

std::string activity_words(const Ensemble& activity) {
  const auto [low, high] = std::minmax({activity.cautious, activity.likely, activity.hopeful});
  return fmt::format("about {:.2f} ({:.2f} to {:.2f})", activity.likely, low, high);
}

}  // namespace torpor::rules::culture
