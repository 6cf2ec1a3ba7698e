#include "daemon/ledger/alert_answers.h"

#include <fmt/format.h>

#include <algorithm>

#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/telling.h"

namespace torpor::daemon {

namespace {

constexpr std::size_t kMostAlertsListed =
    10;  // what a phone shows of one line; `ask alerts` is for now

std::string named(const rules::Alert& alert) {
  return fmt::format("{} ({})", alert.number, without_stop(harmless(alert.what)));
}

std::string line_of(const rules::Alert& alert) {
  return fmt::format("{}, {}, {}{}: {}", alert.number, rules::urgency_name(alert.urgency),
                     alert.seen_at ? "seen" : "unseen",
                     alert.state == rules::AlertState::eased ? ", eased" : "",
                     harmless(alert.what));
}

std::string by_text(const std::string& by) {
  return by.empty() ? "" : fmt::format(" by {}", harmless(by));
}

tl::expected<Told, SentenceRefusal> unknown_alert(std::uint64_t number,
                                                  const std::vector<rules::Alert>& open) {
  if (open.empty()) {
    return tl::unexpected(
        refusal(fmt::format("alert {} is not open; no alert is", number), "", "ask alerts"));
  }
  std::vector<std::string> names;
  names.reserve(open.size());
  for (const rules::Alert& alert : open) names.push_back(named(alert));
  return tl::unexpected(
      refusal(fmt::format("alert {} is not open; open {} {}", number,
                          open.size() == 1 ? "is" : "are", listed(names, kMostAlertsListed)),
              "", fmt::format("seen alert {}", open.front().number)));
}

tl::expected<Told, SentenceRefusal> one_seen(std::uint64_t number, const std::string& by,
                                             const std::vector<rules::Alert>& open) {
  const auto alert = std::find_if(
      open.begin(), open.end(), [&](const rules::Alert& known) { return known.number == number; });
  if (alert == open.end()) return unknown_alert(number, open);
  Told told;
  if (alert->seen_at) {
    told.answer =
        fmt::format("alert {} was seen already{}", named(*alert), by_text(alert->seen_by));
    return told;
  }
  told.inputs.push_back(rules::SeenInput{number, by});
  told.answer = fmt::format("alert {} is seen{}; it is not repeated and ends when its cause does",
                            named(*alert), by_text(by));
  return told;
}

}  // namespace

tl::expected<Told, SentenceRefusal> told_seen(const SeenAlert& seen, const std::string& by,
                                              const std::vector<rules::Alert>& open) {
  if (seen.number) return one_seen(*seen.number, by, open);
  std::vector<std::string> unseen;
  for (const rules::Alert& alert : open) {
    if (!alert.seen_at) unseen.push_back(named(alert));
  }
  Told told;
  if (unseen.empty()) {
    told.answer = open.empty() ? "no alert is open" : "every open alert was seen already";
    return told;
  }
  told.inputs.push_back(rules::SeenInput{std::nullopt, by});
  told.answer =
      fmt::format("seen{}: alert{} {}; {} not repeated", by_text(by), unseen.size() == 1 ? "" : "s",
                  listed(unseen, kMostAlertsListed), unseen.size() == 1 ? "it is" : "they are");
  return told;
}

tl::expected<Told, SentenceRefusal> told_deferred(const DeferAlert& defer, const std::string& by,
                                                  const std::vector<rules::Alert>& open,
                                                  Instant now, const LocalTime& zone) {
  const auto alert = std::find_if(open.begin(), open.end(), [&](const rules::Alert& each) {
    return each.number == defer.alert;
  });
  if (alert == open.end()) return unknown_alert(defer.alert, open);
  const Instant until = now + defer.lasting;
  Told told;
  told.inputs.push_back(rules::DeferInput{defer.alert, until, defer.because, by});
  told.answer = fmt::format(
      "alert {} is deferred{} until {}: {}; it is said again then if it "
      "still stands",
      named(*alert), by_text(by), when_text(until, now, zone), harmless(defer.because));
  return told;
}

std::string alerts_answer(const std::vector<rules::Alert>& open) {
  if (open.empty()) return "no alert is open";
  std::vector<std::string> lines;
  for (std::size_t i = 0; i < std::min(open.size(), kMostAlertsListed); ++i) {
    lines.push_back(line_of(open[i]));
  }
  return fmt::format("{} alert{} open: {}{}", open.size(), open.size() == 1 ? " is" : "s are",
                     fmt::join(lines, "; "),
                     open.size() > kMostAlertsListed
                         ? fmt::format("; and {} more", open.size() - kMostAlertsListed)
                         : "");
}

}  // namespace torpor::daemon
