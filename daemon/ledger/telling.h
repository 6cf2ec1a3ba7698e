// One sentence being told: who tells what and when, and the words for it. For the parts of the
// ledger only.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include <tl/expected.hpp>

#include "daemon/ledger/ledger.h"

namespace torpor::daemon {

struct Ledger::Telling {
  std::string_view text;
  const Sentence& sentence;
  Instant now, wall;
  const LocalTime& zone;
  const LedgerView& view;
};

// "entry 4", "entries 4 to 6".
[[nodiscard]] std::string entries_text(const std::vector<JournalEntry>& entries);
[[nodiscard]] RevisedJar revised_now(const std::string& jar, const LedgerView& view);

// When it happened: `said`, but not ahead of now by more than clocks differ, nor before 2000.
// `word` is the keyword it was said with.
[[nodiscard]] tl::expected<Instant, SentenceRefusal> moment_of(const std::optional<Instant>& said,
                                                               std::string_view word, Instant now,
                                                               const LocalTime& zone);

// "Mon 2 Mar 18:30", with the year when it is not within half a year of now.
[[nodiscard]] std::string when_text(Instant instant, Instant now, const LocalTime& zone);
// "2026-03-02".
[[nodiscard]] std::string date_of(Instant instant, const LocalTime& zone);

// True if a jar's model, which stands at `now`, cannot take what happened then in its turn.
[[nodiscard]] bool is_told_late(Instant happened, Instant now);

}  // namespace torpor::daemon
