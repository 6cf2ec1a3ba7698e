// What is answered when something was done to a jar or seen of it: what was understood, what
// follows from the jar's model, and what to be careful with. Pure text.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "daemon/ledger/deeds.h"

namespace torpor::daemon {

// "120 g sugar spread on top". `jar` as it was before.
[[nodiscard]] std::string understood_text(const Jar& jar, const Deed& deed, Instant at,
                                          const LocalTime& zone);
// "by its model: dormant, water activity about 0.84 (0.83 to 0.86), waking in about 7 weeks
// (range ...)"; of a model that has been told. Without figures it says which are missing.
[[nodiscard]] std::string follows_text(const rules::culture::JarModel& model);
// The same without "by its model: ".
[[nodiscard]] std::string model_text(const rules::culture::JarModel& model);
// Whole sentences: hazards first, then what keeps the rest asleep. `jar` as it is after.
[[nodiscard]] std::vector<std::string> advice(const Jar& jar, const Deed& deed, Instant at);

// Why a deed cannot have happened, as a clause for a refusal.
[[nodiscard]] std::string deed_fault_text(DeedFault fault, const Jar& jar, Instant at,
                                          const LocalTime& zone);

}  // namespace torpor::daemon
