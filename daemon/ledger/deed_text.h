// The verbs about jars as they are: add, take, open, cover, weigh, measure, observe, wake test,
// retire. Reads what stands behind the verb; the grammar is at the top of sentence.cpp.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/ledger/cursor.h"
#include "daemon/ledger/sentence.h"
#include "daemon/ledger/verb.h"

namespace torpor::daemon {

[[nodiscard]] std::span<const Verb> deed_verbs();

// The jars or places that an act is about, up to `end` (a word) or to what can be neither. Error:
// refusal with this form and example.
[[nodiscard]] tl::expected<std::vector<std::string>, SentenceRefusal> read_about(
    Cursor& cursor, std::string_view end, std::string_view form, std::string_view example);

// `because TEXT`. Error: refusal with this form and example.
[[nodiscard]] tl::expected<std::string, SentenceRefusal> read_because(Cursor& cursor,
                                                                      std::string_view form,
                                                                      std::string_view example);

// True if a sign stands somewhere behind the first token: an observation without its verb.
[[nodiscard]] bool tells_an_observation(const Cursor& cursor);

}  // namespace torpor::daemon
