#include "tests/fuzz/checks.h"

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <string>

#include "sensors/utf8.h"

namespace torpor::fuzz {

void require(bool holds, std::string_view what) {
  if (holds) return;
  std::fprintf(stderr, "broken: %.*s\n", static_cast<int>(what.size()), what.data());
  std::abort();
}

void require_message(std::string_view message, std::size_t longest) {
  require(!message.empty(), "a message says something");
  const bool printable = std::none_of(message.begin(), message.end(), [](char c) {
    const auto byte = static_cast<unsigned char>(c);
    return byte < 0x20 || byte == 0x7F;
  });
  if (!printable) require(false, "a control character in: " + std::string(message));
  if (find_not_utf8(message) != std::string_view::npos) {
    require(false, "a message is UTF-8: " + std::string(message));
  }
  if (message.size() > longest) require(false, "too long: " + std::string(message));
}

}  // namespace torpor::fuzz
