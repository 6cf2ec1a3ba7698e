// The lock of the one writer, beside the history: an flock(2) on a file that also says who holds
// it. It goes with the process, however that ends; the file stays.
#pragma once

#include <filesystem>

#include <tl/expected.hpp>

#include "daemon/error.h"

namespace torpor::daemon {

class WriterLock {
 public:
  // Does not wait. Kind busy names the process that holds it.
  [[nodiscard]] static tl::expected<WriterLock, Error> take(const std::filesystem::path& file);
  WriterLock(WriterLock&& other) noexcept;
  WriterLock& operator=(WriterLock&&) = delete;
  ~WriterLock();

 private:
  explicit WriterLock(int fd) : fd_(fd) {}
  int fd_;
};

// Whether some process holds the lock now. False also when that cannot be found out.
[[nodiscard]] bool is_locked(const std::filesystem::path& file);

}  // namespace torpor::daemon
