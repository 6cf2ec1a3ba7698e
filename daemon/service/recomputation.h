// A jar's model worked out anew from the history, away from the strand: something was told or read
// of a time before what the engine could take back. Its result goes through the inbox like every
// other input, so that a restart repeats it at the same place.
#pragma once

#include <filesystem>
#include <vector>

#include <tl/expected.hpp>

#include "config/settings.h"
#include "daemon/error.h"
#include "daemon/history/inbox.h"
#include "daemon/ledger/ledger.h"
#include "rules/watch/watch.h"

namespace torpor::daemon {

struct Recomputation {
  rules::OutdatedJar outdated;
  Jar jar;
  Calibrations calibrations;
  std::vector<Jar> split_line;  // Ledger::split_line() of it
  config::Settings settings;
  std::filesystem::path history, spool;
};

// Any thread; takes a second or so for years of minutes. Error: the history cannot be read.
[[nodiscard]] tl::expected<JarModelRecord, Error> work_out(const Recomputation& what);

}  // namespace torpor::daemon
