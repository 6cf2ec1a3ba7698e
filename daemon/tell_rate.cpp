#include "daemon/tell_rate.h"

#include <chrono>
#include <utility>

namespace torpor::daemon {
namespace {

// Names can be made up without end.
constexpr std::size_t kMostTellers = 1000;

}  // namespace

TellRate::Verdict TellRate::judge(std::string_view teller, Instant wall) {
  const Instant minute = std::chrono::floor<std::chrono::minutes>(wall);
  if (minute != minute_) {
    minute_ = minute;
    told_ = 0;
    tellers_.clear();
    refused_before_ += std::exchange(refused_, 0);
  }
  auto known = tellers_.find(teller);
  if (known == tellers_.end() && tellers_.size() < kMostTellers) {
    known = tellers_.emplace(teller, Teller{}).first;
  }
  if (known != tellers_.end() && known->second.told < kMostOfOne && told_ < kMostOfAll) {
    ++known->second.told;
    ++told_;
    return Verdict::taken;
  }
  ++refused_;
  if (known == tellers_.end() || known->second.has_heard) return Verdict::refused_before;
  known->second.has_heard = true;
  return Verdict::refused;
}

std::uint64_t TellRate::take_refused_before() { return std::exchange(refused_before_, 0); }

}  // namespace torpor::daemon
