#include "daemon/clock/board_clock.h"

#include <sys/timex.h>

#include <ctime>
#include <fstream>

namespace torpor::daemon {
namespace {

Duration in_ms(const timespec& time) {
  return std::chrono::duration_cast<Duration>(std::chrono::seconds(time.tv_sec) +
                                              std::chrono::nanoseconds(time.tv_nsec));
}

// The kernel's own name for this start of the board; empty where it gives none.
const std::string& boot_of_board() {
  static const std::string kBoot = [] {
    std::string boot;
    std::getline(std::ifstream("/proc/sys/kernel/random/boot_id"), boot);
    return boot;
  }();
  return kBoot;
}

bool kept_by_server() {
  timex asked{};  // asks, and sets nothing
  const int state = ::adjtimex(&asked);
  return state >= 0 && state != TIME_ERROR && (asked.status & STA_UNSYNC) == 0;
}

}  // namespace

ClockLook read_clocks() {
  timespec steady{};
  // CLOCK_BOOTTIME goes on while a laptop sleeps; it cannot fail where it is known.
  static_cast<void>(::clock_gettime(CLOCK_BOOTTIME, &steady));
  timespec wall{};
  static_cast<void>(::clock_gettime(CLOCK_REALTIME, &wall));
  return {Instant(in_ms(wall)), in_ms(steady), kept_by_server(), boot_of_board()};
}

}  // namespace torpor::daemon
