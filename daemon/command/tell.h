// `torpor tell "SENTENCE"`: through the broker to the service, and its answer back.
#pragma once

#include <filesystem>
#include <string>

#include "daemon/command/failure.h"

namespace torpor::daemon {

struct Telling {
  std::string sentence;
  std::string by;  // empty: the login name
  bool json = false;
};

// What to print, and whether the service refused the sentence.
struct Answer {
  std::string shown;
  bool refused = false;
};

// Failure not_reached: no broker, no service or no answer in time.
[[nodiscard]] tl::expected<Answer, Failure> tell_sentence(const Telling& telling,
                                                          const std::filesystem::path& config);

// Who is at the keyboard, for the journal; empty: not known.
[[nodiscard]] std::string login_name();

}  // namespace torpor::daemon
