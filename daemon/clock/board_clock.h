// The board's clocks, read, and the room's clock that goes by them. Any thread: a look takes no
// longer than three calls of the system.
#pragma once

#include <mutex>
#include <optional>

#include "daemon/clock/room_clock.h"

namespace torpor::daemon {

[[nodiscard]] ClockLook read_clocks();

class BoardClock {
 public:
  explicit BoardClock(const std::optional<KeptClock>& kept) : clock_(kept, read_clocks()) {}

  [[nodiscard]] Instant now() {
    const std::lock_guard lock(mutex_);
    return clock_.now(read_clocks());
  }
  [[nodiscard]] RoomClock::Seen look() {
    const std::lock_guard lock(mutex_);
    return clock_.look(read_clocks());
  }
  [[nodiscard]] bool unsure() {
    const std::lock_guard lock(mutex_);
    return clock_.unsure();
  }
  [[nodiscard]] KeptClock keep() {
    const std::lock_guard lock(mutex_);
    return clock_.keep(read_clocks());
  }

 private:
  std::mutex mutex_;
  RoomClock clock_;
};

}  // namespace torpor::daemon
