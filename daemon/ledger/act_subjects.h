// What an act of the journal is about.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "daemon/ledger/sentence.h"

namespace torpor::daemon {

// The jars, ids as in the act: one, or both of a split (the one it came from first); of acts about
// other things none. They point into the act.
[[nodiscard]] std::vector<std::string_view> jars_of(const Act& act);

// The jar an act registers; nullptr: none.
[[nodiscard]] const std::string* registered_by(const Act& act);

}  // namespace torpor::daemon
