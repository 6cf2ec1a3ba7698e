// `torpor listen TOPIC`: what arrives on a topic of the configured broker, for a while, and the
// configuration entry that would read it. Nothing is recorded.
#pragma once

#include <cstdio>
#include <filesystem>
#include <string>

#include "daemon/command/failure.h"

namespace torpor::daemon {

struct ListenOrder {
  std::string topic;      // or a filter with wildcards
  std::string for_time;   // as typed; empty: 30 s
  std::size_t count = 0;  // ends after so many messages; 0: when the time is over
};

// Prints each message as it comes; an interrupt from the keyboard ends the time early. Failures:
// not reached or refused by the broker (not_reached), nothing heard (failed).
[[nodiscard]] Outcome listen(const ListenOrder& order, const std::filesystem::path& config,
                             std::FILE* out);

}  // namespace torpor::daemon
