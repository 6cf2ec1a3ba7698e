// How many sentences a minute are taken: of one teller, and of all together. A person dictates a
// few; a stuck client sends thousands, and must not keep the others from being heard.
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <string_view>

#include "sensors/reading.h"

namespace torpor::daemon {

class TellRate {
 public:
  static constexpr int kMostOfOne = 60, kMostOfAll = 600;

  enum class Verdict {
    taken,
    refused,         // and its teller is to hear of it
    refused_before,  // heard already within this minute, or too many tellers to remember
  };
  // `teller`: whatever tells one from another, such as where the answer goes and who says it.
  [[nodiscard]] Verdict judge(std::string_view teller, Instant wall);
  // Refused in the minute that was before the one of the last call; told once.
  [[nodiscard]] std::uint64_t take_refused_before();

 private:
  struct Teller {
    int told = 0;
    bool has_heard = false;
  };
  Instant minute_{};
  int told_ = 0;
  std::map<std::string, Teller, std::less<>> tellers_;  // of this minute
  std::uint64_t refused_ = 0, refused_before_ = 0;
};

}  // namespace torpor::daemon
