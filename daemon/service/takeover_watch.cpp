#include "daemon/service/takeover_watch.h"

namespace torpor::daemon {
namespace {

using namespace std::chrono_literals;

// Both connections of a broker that went are lost within this time of each other.
constexpr auto kTogether = 5s;
// One loss alone can be an accident of the network; so many within this time are none.
constexpr std::size_t kLossesAlone = 3;
constexpr auto kAloneMemory = 10min;
constexpr auto kNoticePause = 1h;

}  // namespace

void TakeoverWatch::outgoing(bool connected, Time now) {
  if (!connected && outgoing_up_) outgoing_lost_ = now;
  outgoing_up_ = connected;
}

void TakeoverWatch::intake(bool connected, Time now) {
  if (!connected) {
    if (!intake_lost_) intake_lost_ = now;
    return;
  }
  if (!intake_lost_) return;
  lost_alone_ = outgoing_up_ && (!outgoing_lost_ || *outgoing_lost_ < *intake_lost_ - kTogether);
  intake_lost_.reset();
  if (!lost_alone_) return;
  while (!alone_.empty() && now - alone_.front() > kAloneMemory) alone_.pop_front();
  alone_.push_back(now);
  if (alone_.size() < kLossesAlone) return;
  alone_.clear();
  found_ = true;
}

void TakeoverWatch::session_lost() {
  if (lost_alone_) found_ = true;
}

bool TakeoverWatch::take_notice(Time now) {
  if (!found_) return false;
  found_ = false;
  if (told_ && now - *told_ < kNoticePause) return false;
  told_ = now;
  return true;
}

}  // namespace torpor::daemon
