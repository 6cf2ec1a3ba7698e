// Names that no two clients share, also when they start in the same instant.
#pragma once

#include <cstddef>
#include <string>

namespace torpor::daemon {

// From the kernel.
[[nodiscard]] std::string random_bytes(std::size_t count);
// 16 hexadecimal digits.
[[nodiscard]] std::string random_name();

}  // namespace torpor::daemon
