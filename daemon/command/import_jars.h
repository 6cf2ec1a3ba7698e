// `torpor import jars FILE.csv`: a notebook of jars into the ledger. Every fault of the file is
// said, with line and column, before anything is recorded; then each jar is told as by hand,
// through the service where it runs. Importing twice changes nothing.
#pragma once

#include <filesystem>
#include <string>

#include "daemon/command/failure.h"
#include "daemon/command/import.h"

namespace torpor::daemon {

struct ImportJarsOrder {
  std::filesystem::path file;
  std::string by;  // who tells; empty: the login name
  bool json = false;
};

// With refused_rows nothing is recorded. A failure in mid-file says how many jars are recorded.
[[nodiscard]] tl::expected<ImportReport, Failure> import_jars(const ImportJarsOrder& order,
                                                              const std::filesystem::path& config);

}  // namespace torpor::daemon
