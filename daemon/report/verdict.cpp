#include "daemon/report/verdict.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

namespace torpor::daemon {
namespace {

JarVerdict retired(const JarEvidence& evidence) {
  return {JarState::retired,
          {fmt::format("It was retired {} ago.", in_words(evidence.now - *evidence.retired_at))}};
}

JarVerdict settling(const JarEvidence& evidence) {
  JarVerdict verdict{JarState::settling, {}};
  verdict.reasons.push_back(
      evidence.closed > evidence.now
          ? "It was closed after the newest reading came in."
          : fmt::format("It was closed {} ago.", in_words(evidence.now - evidence.closed)));
  verdict.reasons.emplace_back("In the first 14 days bubbling, sinking and a wet look are normal.");
  return verdict;
}

JarVerdict unwatched(const JarEvidence& evidence) {
  return {JarState::unwatched,
          {fmt::format("Sensors covered only {:.0f} % of the last {} ({:.0f} % are needed): too "
                       "little to say anything of the air it stands in.",
                       // 74.9 must not read as the 75 that would have been enough.
                       std::floor(evidence.coverage_percent), in_words(evidence.watched),
                       kCoverageNeeded)}};
}

JarVerdict not_judged(const JarEvidence& evidence) {
  JarVerdict verdict;
  verdict.reasons.emplace_back(
      "Not judged: this version has no model of the jar itself (its water, heat and growth). That "
      "is no sign that the jar sleeps.");
  std::string known =
      fmt::format("What is known: sensors covered {:.0f} % of the last {}",
                  std::floor(evidence.coverage_percent), in_words(evidence.watched));
  if (evidence.highest_temperature) {
    known += fmt::format("; the air there was {:.1f} °C at its warmest",
                         evidence.highest_temperature->value());
  }
  verdict.reasons.push_back(known + ".");
  return verdict;
}

}  // namespace

std::string_view state_name(JarState state) {
  static constexpr std::array<std::string_view, 8> kNames = {
      "settling", "dormant", "waking", "due", "awake", "doubtful", "unwatched", "retired"};
  return kNames.at(static_cast<std::size_t>(state));
}

JarVerdict judge(const JarEvidence& evidence) {
  if (evidence.retired_at && *evidence.retired_at <= evidence.now) return retired(evidence);
  if (evidence.now - evidence.closed < kSettling) return settling(evidence);
  if (evidence.coverage_percent < kCoverageNeeded) return unwatched(evidence);
  return not_judged(evidence);
}

std::string in_words(Duration duration) {
  struct Step {
    std::int64_t seconds;
    std::string_view one, many;
  };
  static constexpr std::array<Step, 4> kSteps = {{{86400, "day", "days"},
                                                  {3600, "hour", "hours"},
                                                  {60, "minute", "minutes"},
                                                  {1, "second", "seconds"}}};
  const std::int64_t seconds =
      std::max<std::int64_t>(0, std::chrono::floor<std::chrono::seconds>(duration).count());
  for (const Step& step : kSteps) {
    if (seconds >= 2 * step.seconds) return fmt::format("{} {}", seconds / step.seconds, step.many);
  }
  return seconds == 1 ? "1 second" : "0 seconds";
}

}  // namespace torpor::daemon
