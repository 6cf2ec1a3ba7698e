#include "daemon/history/history_copy.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <stdio.h>
#include <unistd.h>

#include <cerrno>
#include <string>

#include "daemon/history/disk_error.h"
#include "daemon/history/schema.h"

namespace torpor::daemon {
namespace {

// More copies of one file than this are a sign that something else is wrong.
constexpr int kCopiesOfOneName = 20;

Error taken(const std::filesystem::path& target) {
  return {
      ErrorKind::exists,
      fmt::format("{} exists already and is not overwritten; name another file", target.string())};
}

tl::expected<void, Error> sync(const std::filesystem::path& path, int flags) {
  const int fd = ::open(path.c_str(), flags | O_CLOEXEC);
  if (fd < 0) return tl::unexpected(disk_error(errno, "open", path));
  const int failed = ::fsync(fd) == 0 ? 0 : errno;
  ::close(fd);
  if (failed != 0) return tl::unexpected(disk_error(failed, "write", path));
  return {};
}

std::filesystem::path folder_of(const std::filesystem::path& file) {
  return file.has_parent_path() ? file.parent_path() : std::filesystem::path(".");
}

// Never onto a file that someone else made meanwhile.
tl::expected<void, Error> name_it(const std::filesystem::path& part,
                                  const std::filesystem::path& target) {
  if (::renameat2(AT_FDCWD, part.c_str(), AT_FDCWD, target.c_str(), RENAME_NOREPLACE) == 0) {
    return {};
  }
  if (errno == EEXIST) return tl::unexpected(taken(target));
  if (errno != EINVAL) return tl::unexpected(disk_error(errno, "make", target));
  // File systems that cannot rename so (some over a network, FAT) can at least link or refuse.
  if (::link(part.c_str(), target.c_str()) == 0) {
    ::unlink(part.c_str());
    return {};
  }
  if (errno == EEXIST) return tl::unexpected(taken(target));
  std::error_code error;
  if (std::filesystem::exists(target, error) || error) return tl::unexpected(taken(target));
  if (::rename(part.c_str(), target.c_str()) == 0) return {};
  return tl::unexpected(disk_error(errno, "make", target));
}

tl::expected<void, Error> copy_into(Database& database, const std::filesystem::path& part,
                                    const std::filesystem::path& target) {
  auto statement = database.prepare("VACUUM INTO ?1");
  statement->bind_text(1, part.string());
  if (auto copied = statement->run(); !copied) {
    Error error = copied.error();
    error.text = fmt::format("cannot copy the history to {}: {}", target.string(), error.text);
    return tl::unexpected(std::move(error));
  }
  if (auto synced = sync(part, O_RDONLY); !synced) return synced;
  if (auto named = name_it(part, target); !named) return named;
  return sync(folder_of(target), O_RDONLY | O_DIRECTORY);
}

}  // namespace

tl::expected<void, Error> copy_history(Database& database, const std::filesystem::path& target) {
  std::error_code error;
  if (std::filesystem::exists(std::filesystem::symlink_status(target, error))) {
    return tl::unexpected(taken(target));
  }
  std::filesystem::path part = target;
  part += ".part";
  // Made by us, empty and ours alone, before SQLite writes into it: nobody else ever reads it.
  const int fd = ::open(part.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0600);
  if (fd < 0 && errno == EEXIST) {
    return tl::unexpected(Error{
        ErrorKind::exists,
        fmt::format("{} is left over from a copy that did not end, or one is being made now; if "
                    "none is, remove it",
                    part.string())});
  }
  if (fd < 0) return tl::unexpected(disk_error(errno, "make", part));
  ::close(fd);
  auto copied = copy_into(database, part, target);
  if (!copied) ::unlink(part.c_str());
  return copied;
}

tl::expected<void, Error> copy_history_file(const std::filesystem::path& file,
                                            const std::filesystem::path& target) {
  auto database = Database::open(file, OpenMode::read_only);
  if (!database) return tl::unexpected(database.error());
  const auto state = check_schema(**database, file);
  if (!state) return tl::unexpected(state.error());
  return copy_history(**database, target);
}

tl::expected<std::filesystem::path, Error> keep_copy(Database& database,
                                                     const std::filesystem::path& name) {
  std::filesystem::path target = name;
  for (int next = 2;; ++next) {
    const auto copied = copy_history(database, target);
    if (copied) return target;
    if (copied.error().kind != ErrorKind::exists || next > kCopiesOfOneName) {
      return tl::unexpected(copied.error());
    }
    target = name;
    target += fmt::format(".{}", next);
  }
}

}  // namespace torpor::daemon
