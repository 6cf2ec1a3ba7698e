// `torpor backup FILE`: a copy of the history while the service runs, for another disk.
#pragma once

#include <filesystem>
#include <string>

#include "daemon/command/failure.h"

namespace torpor::daemon {

// Makes `target`, which must not exist, and says what is in it.
[[nodiscard]] tl::expected<std::string, Failure> back_up(const std::filesystem::path& target,
                                                         const std::filesystem::path& config);

}  // namespace torpor::daemon
