// A jar as the engine is told of it.
#pragma once

#include <vector>

#include "daemon/ledger/ledger.h"

namespace torpor::daemon {

// Where it stands, what spoiled it, what was closed in it, and what was done and seen, in order of
// time.
void add_inputs_of(const Jar& jar, const std::optional<rules::Spoilage>& spoilage,
                   std::vector<rules::Input>& inputs);
[[nodiscard]] rules::JarClosedInput closed_input(const Jar& jar);
[[nodiscard]] rules::Input input_of(const std::string& jar, const JarEvent& event);

}  // namespace torpor::daemon
