// `torpor export`: readings as they were sent, for other programs: CSV of one sensor, which
// `torpor import readings` reads again, or SenML (RFC 8428) of any.
#pragma once

#include <cstdio>
#include <filesystem>
#include <string>
#include <vector>

#include "daemon/command/failure.h"

namespace torpor::daemon {

enum class ExportForm { csv, senml };

struct ExportOrder {
  ExportForm form = ExportForm::csv;
  std::vector<std::string> sensors;  // ids; empty: all
  std::string from, to;              // as typed, local; empty: from the first, to the last
  // As typed: of each such stretch only the first, lowest, highest and last trusted reading, so
  // that years fit a chart and no spike is lost. Empty: every reading.
  std::string every;
};

// Writes to `out` as it reads: years need no memory. A failure after the first line leaves a part
// there; the exit code says so.
[[nodiscard]] Outcome export_readings(const ExportOrder& order, const std::filesystem::path& config,
                                      std::FILE* out);

}  // namespace torpor::daemon
