// How many sentences a minute are taken. A person dictates a few; a stuck client sends thousands,
// and must not keep the others from being heard.
//
// MQTT does not say which client a message is from. Who says it and where the answer goes can be
// made up without end, so nobody's flood may count against somebody else:
//   a regular: a name that stands in the journal already, each for itself
//   a phone that gives neither name nor response topic, all of them together
//   strangers: every other name or response topic, each for itself and all of them together
#pragma once

#include <cstdint>
#include <map>
#include <set>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/history/store.h"
#include "sensors/reading.h"

namespace torpor::daemon {

class TellRate {
 public:
  // Of one regular, of the nameless phones, of one stranger; of all strangers together.
  static constexpr int kMostOfOne = 60, kMostOfStrangers = 120;
  // A house with more than so many dictating at once has other troubles.
  static constexpr std::size_t kMostRegulars = 8;

  enum class Verdict {
    taken,
    refused,         // and its teller is to hear of it
    refused_before,  // heard already within this minute, or too many tellers to remember
  };
  void know(const std::vector<std::string>& regulars);
  // `by`: who says it; `response_topic`: where the answer goes. Either may be empty.
  [[nodiscard]] Verdict judge(std::string_view by, std::string_view response_topic, Instant wall);
  // Refused in the minute that was before the one of the last call; told once.
  [[nodiscard]] std::uint64_t take_refused_before();

 private:
  struct Teller {
    int told = 0;
    bool has_heard = false;
  };
  std::set<std::string, std::less<>> regulars_;
  Instant minute_{};
  int strangers_told_ = 0;
  std::map<std::string, Teller, std::less<>> tellers_;  // of this minute
  std::uint64_t refused_ = 0, refused_before_ = 0;
};

// The names under which something was told on most days, at most TellRate::kMostRegulars: whoever
// makes up names of a sudden does not get before them.
[[nodiscard]] std::vector<std::string> regulars_of(std::span<const JournalEntry> journal);

}  // namespace torpor::daemon
