#include "daemon/history/database_files.h"

#include <system_error>

namespace torpor::daemon {

void remove_database(const std::filesystem::path& file) {
  std::error_code ignored;
  for (const char* beside : {"", "-wal", "-shm", "-journal"}) {
    std::filesystem::remove(file.string() + beside, ignored);
  }
}

}  // namespace torpor::daemon
