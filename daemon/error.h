// The world failed: a disk, a broker, a lock. Kind for code, text for a person.
#pragma once

#include <string>

namespace torpor::daemon {

enum class ErrorKind {
  not_found,
  exists,
  permission,
  disk_full,
  corrupt,
  newer_version,
  busy,
  not_reached,
  refused,
  invalid,
  io,
};

struct Error {
  ErrorKind kind = ErrorKind::io;
  std::string text;  // "cannot write /var/lib/torpor/inbox.0001: No space left on device"
};

}  // namespace torpor::daemon
