#include "daemon/web/wrong_tokens.h"

#include <fmt/format.h>

#include <algorithm>

namespace torpor::daemon {
namespace {

constexpr auto kWrongTokenMemory = std::chrono::minutes(10);
constexpr auto kWrongTokenReports = std::chrono::minutes(1);
// A house has fewer; whoever comes from more shares one entry.
constexpr std::size_t kMostSenders = 256;
constexpr std::string_view kElsewhere = "other addresses";

}  // namespace

WrongTokens::WrongTokens(std::chrono::milliseconds shortest, std::chrono::milliseconds longest)
    : shortest_(shortest), longest_(std::max(shortest, longest)) {}

WrongTokens::Sender& WrongTokens::sender(std::string_view address, Time now) {
  const auto known = senders_.find(address);
  if (known != senders_.end()) return known->second;
  if (senders_.size() >= kMostSenders) {
    std::erase_if(senders_, [now](const auto& entry) {
      return entry.second.unreported == 0 && now - entry.second.last > kWrongTokenMemory;
    });
  }
  const std::string_view name = senders_.size() < kMostSenders ? address : kElsewhere;
  return senders_.try_emplace(std::string(name), Sender{shortest_, now, 0}).first->second;
}

std::chrono::milliseconds WrongTokens::note(std::string_view address, Time now) {
  Sender& from = sender(address, now);
  if (now - from.last > kWrongTokenMemory) from.pause = shortest_;
  const auto pause = from.pause;
  from.pause = std::min(from.pause * 2, longest_);
  from.last = now;
  ++from.unreported;
  ++unreported_;
  return pause;
}

std::optional<std::string> WrongTokens::take_report(Time now) {
  if (unreported_ == 0 || (reported_ && now - *reported_ < kWrongTokenReports)) return std::nullopt;
  std::size_t addresses = 0;
  auto most = senders_.end();
  for (auto entry = senders_.begin(); entry != senders_.end(); ++entry) {
    if (entry->second.unreported == 0) continue;
    ++addresses;
    if (most == senders_.end() || entry->second.unreported > most->second.unreported) most = entry;
  }
  std::string line = fmt::format("web pages: {} wrong token{} from {}", unreported_,
                                 unreported_ == 1 ? "" : "s", most->first);
  if (addresses > 1) {
    line = fmt::format("web pages: {} wrong tokens from {} addresses, {} of them from {}",
                       unreported_, addresses, most->second.unreported, most->first);
  }
  for (auto& [address, from] : senders_) from.unreported = 0;
  unreported_ = 0;
  reported_ = now;
  return line + "; whoever it is waits for each answer, and the right token does not";
}

}  // namespace torpor::daemon
