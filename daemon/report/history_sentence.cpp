#include "daemon/report/history_sentence.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "daemon/report/duration_words.h"
#include "daemon/report/local_days.h"
#include "rules/culture/sign.h"

namespace torpor::daemon {
namespace {

using rules::culture::Sign;
using rules::culture::State;

// As the rules' windows: below it an average says nothing.
constexpr double kCoverageNeeded = 75.0;
// A night of dew is a thin film; a day of it drips.
constexpr double kMuchDewHours = 24.0;

// Coloured growth, rot: the last time each was seen.
std::vector<std::string> spoiled(const JarHistoryView& view, const LocalTime& zone) {
  std::vector<std::string> seen;
  for (const JarEvent& event : view.events) {
    const auto* observed = std::get_if<rules::culture::Observation>(&event.what);
    const auto* look = observed == nullptr ? nullptr : std::get_if<rules::culture::Look>(observed);
    if (look == nullptr) continue;
    for (const Sign sign : look->signs) {
      const rules::culture::SignFacts& about = rules::culture::facts(sign);
      if (!about.spoils) continue;
      seen.push_back(fmt::format("{} was seen on {}", about.name, day_words(event.at, zone)));
    }
  }
  return seen;
}

// The newest wake test; nullptr: none was told.
const JarEvent* last_test(const JarHistoryView& view) {
  const JarEvent* last = nullptr;
  for (const JarEvent& event : view.events) {
    const auto* observed = std::get_if<rules::culture::Observation>(&event.what);
    if (observed != nullptr && std::holds_alternative<rules::culture::WakeTest>(*observed)) {
      last = &event;
    }
  }
  return last;
}

bool lively(const JarEvent& test) {
  return std::get<rules::culture::WakeTest>(std::get<rules::culture::Observation>(test.what))
      .lively;
}

// What may have killed it.
std::string harm_words(const JarHistoryView& view) {
  const auto& above = view.jar.verdict.figures.hours_above;  // 38, 40, 42, 45 degC
  const JarEvent* test = last_test(view);
  if (test != nullptr && !lively(*test)) return "its last wake test showed no life";
  if (above[3] >= 1.0) return fmt::format("it stood above 45 °C for {:.0f} h", above[3]);
  if (above[1] >= 1.0) return fmt::format("it stood above 40 °C for {:.0f} h", above[1]);
  const Instant since = test == nullptr ? view.jar.closed : test->at;
  const double hours =
      std::chrono::duration<double, std::ratio<3600>>(view.jar.as_of - since).count();
  return "it was not tested for " + rules::culture::round_words(hours);
}

std::string doubts(const JarHistoryView& view) {
  const rules::culture::Figures& figures = view.jar.verdict.figures;
  std::string words;
  if (view.summary.to > view.summary.from && view.summary.coverage_percent < kCoverageNeeded) {
    words += fmt::format("; sensors covered only {:.0f} % of this time",
                         std::floor(view.summary.coverage_percent));
  }
  if (figures.inner_dew_h >= kMuchDewHours) {
    words += fmt::format("; water dripped inside for {:.0f} h", figures.inner_dew_h);
  }
  return words;
}

std::string progress_words(const rules::culture::Figures& figures) {
  if (!figures.wake_progress_percent) return "a sign of waking was seen";
  return fmt::format("by estimate it has done {:.0f} % of the work to its first visible sign",
                     std::min(100.0, figures.wake_progress_percent->likely));
}

}  // namespace

HistorySentence history_sentence(const JarHistoryView& view, const LocalTime& zone) {
  const rules::culture::Verdict& verdict = view.jar.verdict;
  const std::string name = view.jar.jar;
  const std::string age = view.jar.closed <= view.jar.as_of
                              ? in_words(view.jar.as_of - view.jar.closed) + " after closing"
                              : std::string("not closed yet");
  const auto say = [&](Leaning leaning, const std::string& state, const std::string& rest) {
    return HistorySentence{leaning, fmt::format("{} is {}: {}.", name, state, rest)};
  };
  if (verdict.state == State::retired) {
    return say(Leaning::retired, "retired", "there is nothing left to decide");
  }
  const auto growth = spoiled(view, zone);
  if (!growth.empty()) {
    return say(Leaning::against, std::string(state_name(verdict.state)),
               fmt::format("its history speaks against any use, for {}; do not scrape it off",
                           fmt::join(growth, " and ")));
  }
  switch (verdict.state) {
    case State::doubtful:
      return say(Leaning::against, "doubtful",
                 fmt::format("its history speaks against using it before a wake test, for {}",
                             harm_words(view)));
    case State::awake:
      return say(Leaning::against, "awake",
                 "its history speaks against keeping it, for it works, and what works is spoiled "
                 "within days unless it is used or fed");
    case State::due:
      return say(
          Leaning::use_soon, "due",
          "by estimate it should be waking now; look and smell before you use it" + doubts(view));
    case State::waking:
      return say(Leaning::use_soon, "waking",
                 "nothing speaks against using it soon, but it will not keep, for " +
                     progress_words(verdict.figures) + doubts(view));
    case State::settling:
      return say(Leaning::too_young, "settling, " + age,
                 "it is too young to say how it sleeps" + doubts(view));
    case State::unwatched:
      return say(Leaning::cannot_say, "unwatched",
                 "whether its history speaks against using it cannot be said, for too little is "
                 "known of its air or of what is in it" +
                     doubts(view));
    case State::dormant:
    case State::retired:
      break;
  }
  const std::string doubt = doubts(view);
  if (!doubt.empty()) {
    return say(Leaning::cannot_say, "dormant, " + age,
               "nothing known speaks against using it, but not all is known" + doubt);
  }
  return say(Leaning::nothing_against, "dormant, " + age,
             "nothing in its history speaks against using it");
}

}  // namespace torpor::daemon
