// A jar's stays over time: how a move, also one told late, changes them.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "daemon/ledger/ledger.h"

namespace torpor::daemon {

// What a registration says of what was closed in the jar.
[[nodiscard]] rules::culture::JarRecipe recipe_of(const NewJar& made, Instant closed);

enum class MoveFault { retired, before_the_jar, already_there };

// Why the jar cannot have been moved to `place` at `at`; nullopt: it can.
[[nodiscard]] std::optional<MoveFault> move_fault(const Jar& jar, std::string_view place,
                                                  Instant at);

// The move ends the stay that holds `at`; the new stay lasts until the next recorded move. A move
// at the very instant a stay begins replaces that stay's place. Returns the new stay. Precondition:
// !move_fault(jar, place, at).
const Stay& record_move(Jar& jar, std::string place, Instant at);

}  // namespace torpor::daemon
