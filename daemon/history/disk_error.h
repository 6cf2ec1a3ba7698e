// An errno as an Error a person can act on: "cannot write FILE: No space left on device".
#pragma once

#include <filesystem>
#include <string_view>

#include "daemon/error.h"

namespace torpor::daemon {

// `act` is the verb after "cannot": "write", "open". The advice for full and read-only disks is
// added.
[[nodiscard]] Error disk_error(int code, std::string_view act, const std::filesystem::path& path);

}  // namespace torpor::daemon
