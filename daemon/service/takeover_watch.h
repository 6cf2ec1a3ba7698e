// Whether somebody else takes torpor's place at the broker: from what happens to the two
// connections, on the strand. The link itself sees a quick fight (Disturbance::taken_over); this
// sees the slow one: the intake alone loses its connection or its session, while the outgoing
// connection to the same broker stays up. A broker that restarts or a network that fails takes
// both.
#pragma once

#include <chrono>
#include <deque>
#include <optional>

namespace torpor::daemon {

class TakeoverWatch {
 public:
  using Time = std::chrono::steady_clock::time_point;

  void outgoing(bool connected, Time now);
  // Not for a pause of our own making.
  void intake(bool connected, Time now);
  // The broker forgot the intake's session; after intake(true).
  void session_lost();
  // The link is sure.
  void taken_over() { found_ = true; }
  // True: the phone is to hear of it now. Once an hour at most.
  [[nodiscard]] bool take_notice(Time now);

 private:
  bool outgoing_up_ = false;
  std::optional<Time> outgoing_lost_;
  std::optional<Time> intake_lost_;  // nothing: it is up, or never was
  bool lost_alone_ = false;          // the last time
  std::deque<Time> alone_;           // lately
  bool found_ = false;
  std::optional<Time> told_;
};

}  // namespace torpor::daemon
