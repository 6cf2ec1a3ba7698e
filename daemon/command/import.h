// `torpor import readings FILE.csv --sensor ID`: a logger's readings into the history, in batches
// that are each committed, through the service where it runs. Importing twice changes nothing.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>

#include "daemon/command/failure.h"

namespace torpor::daemon {

struct ImportOrder {
  std::filesystem::path file;
  std::string sensor;
  std::string columns;  // as typed; empty: by the header
  std::string zone;     // of times without an offset; empty: UTC
  bool json = false;
};

struct ImportReport {
  std::string shown;  // to print
  std::uint64_t refused_rows = 0;
};

// Usage failure: no such sensor, unreadable file, columns that are not there. A failure in mid-file
// says how many rows are in the history by then; the import can simply be run again.
[[nodiscard]] tl::expected<ImportReport, Failure> import_readings(
    const ImportOrder& order, const std::filesystem::path& config);

}  // namespace torpor::daemon
