#include "daemon/history/folder_owner.h"

#include <sys/stat.h>
#include <unistd.h>

#include <string>
#include <system_error>

namespace torpor::daemon {

void give_to_folders_owner(const std::filesystem::path& file) {
  struct stat folder = {};
  if (::geteuid() != 0 || ::stat(file.parent_path().c_str(), &folder) != 0) return;
  const auto give = [&folder](const std::filesystem::path& path) {
    // Root may; where the file system knows no owners there is nothing to give.
    if (::lchown(path.c_str(), folder.st_uid, folder.st_gid) != 0) return;
  };
  std::error_code error;
  for (std::filesystem::directory_iterator entry(file.parent_path(), error), end;
       !error && entry != end; entry.increment(error)) {
    if (!entry->path().filename().string().starts_with(file.filename().string())) continue;
    give(entry->path());
    if (!entry->is_directory(error)) continue;
    for (std::filesystem::directory_iterator inside(entry->path(), error); !error && inside != end;
         inside.increment(error)) {
      give(inside->path());
    }
  }
}

}  // namespace torpor::daemon
