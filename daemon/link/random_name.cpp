#include "daemon/link/random_name.h"

#include <fmt/format.h>
#include <sys/random.h>

namespace torpor::daemon {

std::string random_bytes(std::size_t count) {
  std::string bytes(count, '\0');
  std::size_t have = 0;
  while (have < count) {
    const ssize_t got = ::getrandom(bytes.data() + have, count - have, 0);
    if (got > 0) have += static_cast<std::size_t>(got);  // only signals interrupt it
  }
  return bytes;
}

std::string random_name() {
  constexpr std::size_t kBytes = 8;
  std::string text;
  for (const char byte : random_bytes(kBytes)) {
    text += fmt::format("{:02x}", static_cast<unsigned char>(byte));
  }
  return text;
}

}  // namespace torpor::daemon
