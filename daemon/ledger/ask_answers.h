// Answers to `ask jars`, `ask places` and `ask X`, each one line.
#pragma once

#include <map>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/ledger/ledger.h"

namespace torpor::daemon {

// "3 jars: cellar/shelf-1: B-01, B-02; cellar/shelf-2: B-07". Retired jars are left out.
[[nodiscard]] std::string jars_answer(const std::map<std::string, Jar>& jars);
// "2 places: cellar, cellar/shelf-2 (3 jars)".
[[nodiscard]] std::string places_answer(const std::vector<std::string>& places,
                                        const std::map<std::string, Jar>& jars);
// What is known of a jar, a collection, a place or a sensor. A name that is several gives each.
[[nodiscard]] tl::expected<std::string, SentenceRefusal> about_answer(
    std::string_view about, const Ledger& ledger, const std::vector<std::string>& places,
    const LedgerView& view, const LocalTime& zone);

}  // namespace torpor::daemon
