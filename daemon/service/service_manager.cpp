// By hand, because it is one datagram: libsystemd would bring libgcrypt, liblzma, liblz4 and libcap
// into a process that runs on small boards, and this way no step of the strand ever waits for a
// manager that does not read.
#include "daemon/service/service_manager.h"

#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <algorithm>
#include <charconv>
#include <cstddef>
#include <cstdlib>
#include <cstring>

namespace torpor::daemon {
namespace {

std::string_view variable(const char* name) {
  const char* value = std::getenv(name);
  return value == nullptr ? std::string_view() : std::string_view(value);
}

std::optional<long long> number(std::string_view text) {
  long long value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc() || end != text.data() + text.size()) return std::nullopt;
  return value;
}

}  // namespace

ServiceManager ServiceManager::from_environment() {
  ServiceManager manager;
  const std::string_view socket = variable("NOTIFY_SOCKET");
  const bool usable = !socket.empty() && (socket.front() == '/' || socket.front() == '@') &&
                      socket.size() < sizeof(sockaddr_un::sun_path);
  if (!usable) return manager;
  manager.socket_ = socket;
  const auto patience = number(variable("WATCHDOG_USEC"));
  const auto whose = number(variable("WATCHDOG_PID"));
  const bool ours = !whose || *whose == ::getpid();
  if (patience && *patience > 0 && ours) {
    manager.patience_ = std::chrono::microseconds(*patience);
  }
  return manager;
}

void ServiceManager::say(std::string_view lines) const {
  if (socket_.empty()) return;
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  std::memcpy(address.sun_path, socket_.data(), socket_.size());
  if (socket_.front() == '@') address.sun_path[0] = '\0';  // no file: a name of the kernel's
  const int fd = ::socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
  if (fd < 0) return;
  const auto size = static_cast<socklen_t>(offsetof(sockaddr_un, sun_path) + socket_.size());
  // A full or closed socket is the manager's affair: it asks again by its watchdog.
  (void)::sendto(fd, lines.data(), lines.size(), MSG_NOSIGNAL | MSG_DONTWAIT,
                 reinterpret_cast<const sockaddr*>(&address), size);
  ::close(fd);
}

}  // namespace torpor::daemon
