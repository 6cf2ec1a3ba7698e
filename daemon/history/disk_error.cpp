#include "daemon/history/disk_error.h"

#include <fmt/format.h>

#include <cerrno>
#include <system_error>

namespace torpor::daemon {
namespace {

struct ErrnoFacts {
  int code;
  ErrorKind kind;
  std::string_view advice;
};

constexpr ErrnoFacts kErrnoFacts[] = {
    {ENOSPC, ErrorKind::disk_full, "; free some space on that disk"},
    {EDQUOT, ErrorKind::disk_full, "; the disk quota of this user is used up"},
    {EFBIG, ErrorKind::disk_full, "; the file has reached the largest size allowed"},
    {EROFS, ErrorKind::permission, "; the disk is mounted read-only, look for disk faults"},
    {EACCES, ErrorKind::permission, "; check the owner and mode of the file and its folder"},
    {EPERM, ErrorKind::permission, "; check the owner and mode of the file and its folder"},
    {ENOENT, ErrorKind::not_found, ""},
    {ENOTDIR, ErrorKind::not_found, ""},
    {EIO, ErrorKind::io, "; the disk reports a fault, check it and its cable or card"},
};

}  // namespace

Error disk_error(int code, std::string_view act, const std::filesystem::path& path) {
  const std::string reason = std::generic_category().message(code);
  for (const ErrnoFacts& row : kErrnoFacts) {
    if (row.code == code) {
      return {row.kind, fmt::format("cannot {} {}: {}{}", act, path.string(), reason, row.advice)};
    }
  }
  return {ErrorKind::io, fmt::format("cannot {} {}: {}", act, path.string(), reason)};
}

}  // namespace torpor::daemon
