// The line of jars in reports: back to where it was gathered, and forward to what was made from it.
#pragma once

#include <string>
#include <vector>

#include "daemon/ledger/ledger.h"
#include "daemon/report/views.h"

namespace torpor::daemon {

// At most kMostLineSteps each way: more are cut off, the furthest ones.
inline constexpr std::size_t kMostLineSteps = 200;
[[nodiscard]] LineView line_of(const Ledger& ledger, const Jar& jar);

// What a page shows of it, one row each: {"from", "B-03 (IMO-1, closed 2026-02-25)"},
// {"taken", "2026-05-02: 200 g for \"heap 4\""}.
struct LineRow {
  std::string name, value;
};
[[nodiscard]] std::vector<LineRow> line_rows(const JarHistoryView& view, const LocalTime& zone);

// The sentence of an entry with who told it, and by which entry it was withdrawn.
[[nodiscard]] std::string entry_words(const JarHistoryView& view, const JournalEntry& entry);

}  // namespace torpor::daemon
