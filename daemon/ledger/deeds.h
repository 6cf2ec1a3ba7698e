// What was done to a jar and seen of it, as the ledger keeps it: what can be, what the model is
// told, and what can be reckoned from it without a model.
#pragma once

#include <optional>
#include <string>

#include "daemon/ledger/ledger.h"

namespace torpor::daemon {

// As the model takes it; nullopt: not the model's (retiring is the engine's).
[[nodiscard]] std::optional<std::variant<rules::culture::Act, rules::culture::Observation>>
model_event(const Deed& deed);

enum class DeedFault { retired, before_the_jar, moved_later };
// Why this cannot have happened to the jar at `at`; nullopt: it can.
[[nodiscard]] std::optional<DeedFault> deed_fault(const Jar& jar, const Deed& deed, Instant at);
// Enters it. Precondition: !deed_fault(jar, deed, at).
void record_deed(Jar& jar, const Deed& deed, Instant at, std::uint64_t entry);

// What covers the jar at `at`; nullopt: not told.
[[nodiscard]] std::optional<Cover> cover_at(const Jar& jar, Instant at);
// g in the jar by what was told up to `at`: figures of its closing, sugar added, contents taken; a
// weighing corrects it where the vessel's weight is known. nullopt: rice or sugar was not told.
[[nodiscard]] std::optional<Grams> contents_at(const Jar& jar, Instant at);
// True if one of these signs of work was noted within two weeks before `at`: bubbling, rising,
// pressure.
[[nodiscard]] bool works_at(const Jar& jar, Instant at);

// True if by `at` gas was seen in it after its first two weeks, while by what was told it held more
// sugar than its water dissolves, or if that was so of what it was made from. What can do that goes
// on in every jar made from it. Reckoned with the cultures' usual figures: a jar's own model may
// know better, and is not asked.
[[nodiscard]] bool worked_in_sugar(const Jar& jar, Instant at);

// What is more likely a slip than true, as a clause that asks; nullopt: fine.
[[nodiscard]] std::optional<std::string> doubt_about(const Jar& jar, const Deed& deed, Instant at);

}  // namespace torpor::daemon
