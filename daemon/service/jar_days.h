// The finished days of jars, worked out from the history away from the strand and kept there, so
// that a report of years reads them instead of stepping every reading again.
#pragma once

#include <chrono>
#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "config/settings.h"
#include "daemon/error.h"
#include "daemon/history/store.h"
#include "daemon/ledger/ledger.h"

namespace torpor::daemon {

// Days wanted of one jar: [from, to). `revision` is the Storeroom's: it refuses what was worked out
// before something older became known.
struct WantedDays {
  std::string id;
  std::uint64_t revision = 0;
  std::chrono::sys_days from, to;
  Jar jar;
  Calibrations calibrations;
  std::vector<Jar> split_line;  // Ledger::split_line() of it
  config::Settings settings;
  std::filesystem::path history, spool;
};

struct WorkedOutDays {
  std::string jar;
  std::uint64_t revision = 0;
  std::chrono::sys_days to;
  std::vector<StoredJarDay> days;  // those that were not stored yet
  Instant model_at;
  std::string model;  // when the last of them is over; empty: none were, or the jar is retired
};

// Any thread; a tenth of a second for a year of minutes. Error: the history cannot be read.
[[nodiscard]] tl::expected<WorkedOutDays, Error> work_out(const WantedDays& what);

}  // namespace torpor::daemon
