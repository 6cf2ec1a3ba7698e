// What is answered when something was done to a jar or seen of it: what was understood, and what to
// be careful with. How the jar stands then is said behind it, by its standing. Pure text.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "daemon/ledger/deeds.h"

namespace torpor::daemon {

// "120 g sugar spread on top". `jar` as it was before.
[[nodiscard]] std::string understood_text(const Jar& jar, const Deed& deed, Instant at,
                                          const LocalTime& zone);
// Whole sentences: hazards first, then what keeps the rest asleep. `jar` as it is after.
[[nodiscard]] std::vector<std::string> advice(const Jar& jar, const Deed& deed, Instant at);

// Why a deed cannot have happened, as a clause for a refusal.
[[nodiscard]] std::string deed_fault_text(DeedFault fault, const Jar& jar, Instant at,
                                          const LocalTime& zone);

}  // namespace torpor::daemon
