#include "daemon/history/segment_file.h"

#include <fcntl.h>
#include <unistd.h>

#include <cerrno>

#include "daemon/history/disk_error.h"
#include "daemon/history/inbox_segment.h"

namespace torpor::daemon {
namespace {

// As SQLite's default, so that who may read the history may read the inbox.
constexpr mode_t kMode = 0644;

}  // namespace

tl::expected<std::unique_ptr<SegmentFile>, Error> SegmentFile::create(
    const std::filesystem::path& path, bool durable) {
  const int flags = O_WRONLY | O_CREAT | O_TRUNC | O_APPEND | O_CLOEXEC;
  const int fd = ::open(path.c_str(), flags, kMode);
  if (fd < 0) return tl::unexpected(disk_error(errno, "make", path));
  return std::unique_ptr<SegmentFile>(new SegmentFile(path, fd, durable));
}

SegmentFile::SegmentFile(std::filesystem::path path, int fd, bool durable)
    : path_(std::move(path)), fd_(fd), durable_(durable) {}

// A failing close() loses nothing that was promised: durable bytes are synced, others only promise
// to outlive this process, and they are the kernel's since write().
SegmentFile::~SegmentFile() { ::close(fd_); }

tl::expected<void, Error> SegmentFile::append(const std::string& record) {
  const bool fresh = bytes_ == 0;
  const std::string with_header = fresh ? segment_header() + record : std::string();
  const std::string& bytes = fresh ? with_header : record;

  auto done = write_whole(bytes);
  if (done) done = sync();
  if (!done) {
    if (::ftruncate(fd_, static_cast<off_t>(bytes_)) != 0) holds_ghost_ = true;
    return done;
  }
  bytes_ += bytes.size();
  return done;
}

tl::expected<void, Error> SegmentFile::write_whole(const std::string& bytes) {
  ssize_t wrote = 0;
  do {
    wrote = ::write(fd_, bytes.data(), bytes.size());
  } while (wrote < 0 && errno == EINTR);
  if (wrote < 0) return tl::unexpected(disk_error(errno, "write", path_));
  // A regular file takes part of a write only when it has no room for the rest.
  if (static_cast<std::size_t>(wrote) < bytes.size()) {
    return tl::unexpected(disk_error(ENOSPC, "write", path_));
  }
  return {};
}

tl::expected<void, Error> SegmentFile::sync() {
  if (!durable_) return {};
  if (::fdatasync(fd_) != 0) return tl::unexpected(disk_error(errno, "sync", path_));
  if (bytes_ == 0) return sync_folder(path_.parent_path());
  return {};
}

tl::expected<void, Error> sync_folder(const std::filesystem::path& folder) {
  const int fd = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (fd < 0) return tl::unexpected(disk_error(errno, "open", folder));
  const int failure = ::fsync(fd) == 0 ? 0 : errno;
  ::close(fd);
  if (failure != 0) return tl::unexpected(disk_error(failure, "sync", folder));
  return {};
}

}  // namespace torpor::daemon
