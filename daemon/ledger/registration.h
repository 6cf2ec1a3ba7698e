// What the figures of a new jar say together: whether they can be true, how they read in an answer,
// which figures will be missing and what to be careful with. Pure text and arithmetic.
#pragma once

#include <optional>
#include <string>

#include "daemon/ledger/sentence.h"

namespace torpor::daemon {

// What cannot be true or is more likely a slip of the unit, as a clause that asks; nullopt: fine.
[[nodiscard]] std::optional<std::string> doubt_about(const NewJar& jar);

// The same of vessel and mouth alone, where rice and sugar were reckoned and not told.
[[nodiscard]] std::optional<std::string> doubt_about_vessel(const NewJar& jar);

// "IMO-2; rice 1200 g from 560 g raw; sugar 1250 g, 1.04 times the rice; cover paper".
[[nodiscard]] std::string contents_text(const NewJar& jar);

// Which figures cannot be known for want of which words; empty: none.
[[nodiscard]] std::string missing_text(const NewJar& jar);

// Cautions for what the vessel is made of and a jar without sugar; empty: none.
[[nodiscard]] std::string caution_text(const NewJar& jar);

}  // namespace torpor::daemon
