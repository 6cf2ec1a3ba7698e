// Collections in answers and reports, each one line.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "daemon/ledger/ledger.h"

namespace torpor::daemon {

// "gathered 2026-02-20 at \"beech hollow, north slope\"; trees beech; lay out 5 d; rice 1200 g;
// looked white fluff".
[[nodiscard]] std::string collection_words(const Collection& collection, const LocalTime& zone);

// What is more likely a slip than true, as a clause that asks; nullopt: fine.
[[nodiscard]] std::optional<std::string> doubt_about(const NewCollection& collection);

// The answer to `ask collections`.
[[nodiscard]] std::string collections_answer(const Ledger& ledger, const LocalTime& zone);
// What is known of a collection: itself and the jars made from it.
[[nodiscard]] std::string collection_answer(const Collection& collection, const Ledger& ledger,
                                            const LocalTime& zone);

}  // namespace torpor::daemon
