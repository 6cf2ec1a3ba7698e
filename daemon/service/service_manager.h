// What the service manager is told: that the service is ready, what it waits for, that it lives.
// The protocol of sd_notify(3): one datagram a message to the socket that NOTIFY_SOCKET names.
// Without one, as when started by hand, nothing is said.
#pragma once

#include <chrono>
#include <optional>
#include <string>
#include <string_view>

namespace torpor::daemon {

class ServiceManager {
 public:
  // From NOTIFY_SOCKET, WATCHDOG_USEC and WATCHDOG_PID as they are now.
  [[nodiscard]] static ServiceManager from_environment();

  // A line each: "READY=1", "STATUS=...", "WATCHDOG=1", "STOPPING=1". A manager that does not
  // listen is no fault of the service.
  void say(std::string_view lines) const;
  // How long it waits for a WATCHDOG=1 before it starts the service anew; nullopt: it does not.
  [[nodiscard]] std::optional<std::chrono::microseconds> patience() const { return patience_; }

 private:
  std::string socket_;  // path, or a name that begins with '@'; empty: nobody listens
  std::optional<std::chrono::microseconds> patience_;
};

}  // namespace torpor::daemon
