#include "daemon/ledger/telling.h"

#include "daemon/ledger/deed_answers.h"

#include <fmt/format.h>

#include <algorithm>

#include "sensors/rfc3339.h"

namespace torpor::daemon {

namespace {

// Nothing that a keeper notes is older; a year typed wrong is found here (readings: the same
// limit).
constexpr Instant kEarliest = std::chrono::sys_days(std::chrono::year(2000) / 1 / 1);
// A person's clock and a `18:30` typed at 18:29 may be ahead of ours by this; it then means now.
constexpr Duration kAheadTolerance = std::chrono::minutes(5);
// The model's water and growth are stepped once an hour, and what is older than its last step comes
// late.
constexpr Duration kModelGrid = rules::culture::JarModel::kGrid;

}  // namespace

std::string when_text(Instant instant, Instant now, const LocalTime& zone) {
  constexpr Duration kNear = std::chrono::hours(182 * 24);
  const Duration apart = instant < now ? now - instant : instant - now;
  return apart < kNear ? zone.to_words(instant) : zone.to_text(instant);
}

std::string date_of(Instant instant, const LocalTime& zone) {
  return zone.to_text(instant).substr(0, 10);
}

tl::expected<Instant, SentenceRefusal> moment_of(const std::optional<Instant>& said,
                                                 std::string_view word, Instant now,
                                                 const LocalTime& zone) {
  if (!said) return now;
  const std::string example = fmt::format("move B-07 to cellar/shelf-1 at {}", to_rfc3339(now));
  if (*said > now + kAheadTolerance) {
    return tl::unexpected(refusal(fmt::format("`{}` {} is in the future; now it is {}", word,
                                              zone.to_text(*said), zone.to_text(now)),
                                  "", example));
  }
  if (*said < kEarliest) {
    return tl::unexpected(refusal(
        fmt::format("`{}` {} is before 2000; is the year right?", word, zone.to_text(*said)), "",
        example));
  }
  return std::min(*said, now);
}

std::string entries_text(const std::vector<JournalEntry>& entries) {
  return entries.size() == 1
             ? fmt::format("entry {}", entries.front().number)
             : fmt::format("entries {} to {}", entries.front().number, entries.back().number);
}

RevisedJar revised_now(const std::string& jar, const LedgerView& view) {
  const auto standing = view.standing(jar);
  return {jar, standing ? rules::standing_brief(*standing) : std::string()};
}

bool is_told_late(Instant happened, Instant now) { return happened + kModelGrid < now; }

}  // namespace torpor::daemon
