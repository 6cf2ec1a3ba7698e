#include "daemon/service/tell_rate.h"

#include <algorithm>
#include <chrono>
#include <utility>

namespace torpor::daemon {
namespace {

// Strangers' names can be made up without end: those beyond what all of them may say, and a few who
// hear of it, are refused without an answer or a line in the log.
constexpr std::size_t kMostTellers = TellRate::kMostOfStrangers + 30;
// Tells a response topic from a name.
constexpr char kTopicMark = '\0';

}  // namespace

void TellRate::know(const std::vector<std::string>& regulars) {
  regulars_ = {regulars.begin(), regulars.end()};
}

TellRate::Verdict TellRate::judge(std::string_view by, std::string_view response_topic,
                                  Instant wall) {
  const Instant minute = std::chrono::floor<std::chrono::minutes>(wall);
  if (minute != minute_) {
    minute_ = minute;
    strangers_told_ = 0;
    tellers_.clear();
    refused_before_ += std::exchange(refused_, 0);
  }
  const bool nameless = by.empty() && response_topic.empty();
  const bool stranger = !nameless && regulars_.find(by) == regulars_.end();
  const std::string name =
      by.empty() && !nameless ? kTopicMark + std::string(response_topic) : std::string(by);
  auto known = tellers_.find(name);
  if (known == tellers_.end() && (!stranger || tellers_.size() < kMostTellers)) {
    known = tellers_.emplace(name, Teller{}).first;
  }
  const bool room = !stranger || strangers_told_ < kMostOfStrangers;
  if (known != tellers_.end() && known->second.told < kMostOfOne && room) {
    ++known->second.told;
    strangers_told_ += stranger ? 1 : 0;
    return Verdict::taken;
  }
  ++refused_;
  if (known == tellers_.end() || known->second.has_heard) return Verdict::refused_before;
  known->second.has_heard = true;
  return Verdict::refused;
}

std::uint64_t TellRate::take_refused_before() { return std::exchange(refused_before_, 0); }

std::vector<std::string> regulars_of(std::span<const JournalEntry> journal) {
  std::map<std::string, std::set<std::chrono::sys_days>> days;
  for (const JournalEntry& entry : journal) {
    if (!entry.by.empty()) {
      days[entry.by].insert(std::chrono::floor<std::chrono::days>(entry.recorded_at));
    }
  }
  std::vector<std::pair<std::size_t, std::string>> ranked;
  ranked.reserve(days.size());
  for (const auto& [name, told_on] : days) ranked.emplace_back(told_on.size(), name);
  std::stable_sort(ranked.begin(), ranked.end(),
                   [](const auto& a, const auto& b) { return a.first > b.first; });
  std::vector<std::string> regulars;
  for (auto& [count, name] : ranked) {
    if (regulars.size() == TellRate::kMostRegulars) break;
    regulars.push_back(std::move(name));
  }
  return regulars;
}

}  // namespace torpor::daemon
