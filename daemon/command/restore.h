// `torpor restore [FILE]`: a history from its nightly copy or from a backup, into the place of one
// that is damaged or gone.
#pragma once

#include <filesystem>
#include <string>

#include "daemon/command/failure.h"

namespace torpor::daemon {

struct RestoreOrder {
  std::string file;  // a nightly copy or a backup; empty: the newest copy that is whole
};

// Says what it brought. Refuses while the service runs; keeps what was there. Where there is no
// configuration yet, a copy brings that, too.
[[nodiscard]] tl::expected<std::string, Failure> restore_history(
    const RestoreOrder& order, const std::filesystem::path& config);

}  // namespace torpor::daemon
