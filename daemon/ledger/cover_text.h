// Reads a cover at a cursor. For the readers of sentences only.
#pragma once

#include <string>
#include <string_view>

#include <tl/expected.hpp>

#include "daemon/ledger/cursor.h"
#include "daemon/ledger/sentence.h"

namespace torpor::daemon {

// True if `lid`, `a lid` or `the lid` stands next and nothing says whether it is tight.
[[nodiscard]] bool is_bare_lid(const Cursor& cursor);
inline constexpr std::string_view kWhichLid =
    "which lid is it: a tight lid, or a lid turned back so that gas gets out?";

// Takes the cover's words. Error: one clause that asks which lid, or lists the covers.
[[nodiscard]] tl::expected<Cover, std::string> read_cover_words(Cursor& cursor);

}  // namespace torpor::daemon
