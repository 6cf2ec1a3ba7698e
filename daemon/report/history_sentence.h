// The first thing a keeper reads of a jar: its state, and whether its history speaks against using
// it and why. One sentence, from what was seen and what is estimated.
#pragma once

#include <string>

#include "daemon/ledger/local_time.h"
#include "daemon/report/views.h"

namespace torpor::daemon {

enum class Leaning {
  nothing_against,
  use_soon,    // it wakes or works: whoever wants it should not wait
  too_young,   // still settling
  cannot_say,  // too little is known
  against,     // spoiled, or perhaps dead
  retired,
};

struct HistorySentence {
  Leaning leaning = Leaning::cannot_say;
  std::string text;
};
[[nodiscard]] HistorySentence history_sentence(const JarHistoryView& view, const LocalTime& zone);

}  // namespace torpor::daemon
