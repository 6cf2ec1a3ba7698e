#include "daemon/history/writer_lock.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <chrono>
#include <fstream>
#include <string>
#include <thread>
#include <utility>

#include "daemon/history/disk_error.h"

namespace torpor::daemon {
namespace {

// "process 123 (torpord)", from the number that the holder wrote.
std::string holder(int fd) {
  std::array<char, 32> bytes{};
  const ssize_t got = ::pread(fd, bytes.data(), bytes.size() - 1, 0);
  const std::string written(bytes.data(), got > 0 ? static_cast<std::size_t>(got) : 0);
  const std::string pid = written.substr(0, written.find_first_not_of("0123456789"));
  if (pid.empty()) return "another process";
  std::string name;
  std::ifstream comm("/proc/" + pid + "/comm");
  if (!std::getline(comm, name)) return "process " + pid;
  return fmt::format("process {} ({})", pid, name);
}

// A reader that asks is_locked() holds the lock for a moment: that is no reason to be refused.
bool lock_within_a_moment(int fd) {
  constexpr int kTries = 5;
  for (int i = 0; i < kTries; ++i) {
    if (::flock(fd, LOCK_EX | LOCK_NB) == 0) return true;
    if (errno != EWOULDBLOCK) return false;
    std::this_thread::sleep_for(std::chrono::milliseconds(10));
  }
  errno = EWOULDBLOCK;
  return false;
}

}  // namespace

tl::expected<WriterLock, Error> WriterLock::take(const std::filesystem::path& file) {
  const int fd = ::open(file.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0644);
  if (fd < 0) return tl::unexpected(disk_error(errno, "open the lock", file));
  WriterLock lock(fd);
  if (!lock_within_a_moment(fd)) {
    if (errno != EWOULDBLOCK) return tl::unexpected(disk_error(errno, "lock", file));
    return tl::unexpected(Error{
        ErrorKind::busy, fmt::format("{} writes this history now (lock {}); stop it, or let it "
                                     "do this",
                                     holder(fd), file.string())});
  }
  const std::string pid = fmt::format("{}\n", ::getpid());
  // The number only serves the message above: a full disk must not keep the writer from starting.
  if (::ftruncate(fd, 0) != 0 || ::pwrite(fd, pid.data(), pid.size(), 0) < 0) errno = 0;
  return lock;
}

WriterLock::WriterLock(WriterLock&& other) noexcept : fd_(std::exchange(other.fd_, -1)) {}

WriterLock::~WriterLock() {
  if (fd_ >= 0) ::close(fd_);
}

bool is_locked(const std::filesystem::path& file) {
  const int fd = ::open(file.c_str(), O_RDONLY | O_CLOEXEC);
  if (fd < 0) return false;
  const bool locked = ::flock(fd, LOCK_SH | LOCK_NB) != 0 && errno == EWOULDBLOCK;
  ::close(fd);
  return locked;
}

}  // namespace torpor::daemon
