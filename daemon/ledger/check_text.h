// The sentence that begins a sensor's check. Internal to this room; the grammar is in sentence.cpp.
#pragma once

#include <string_view>

#include <tl/expected.hpp>

#include "daemon/ledger/cursor.h"
#include "daemon/ledger/sentence.h"

namespace torpor::daemon {

inline constexpr std::string_view kCheckForm =
    "calibrate SENSOR in SALT, check SENSOR in ice, or check SENSOR against VALUE";
inline constexpr std::string_view kCheckExample = "calibrate s1 in table salt";

// What stands behind `calibrate` or `check`, up to the endings.
[[nodiscard]] tl::expected<BeginCheck, SentenceRefusal> read_check(Cursor& cursor);

}  // namespace torpor::daemon
