// A checksum for each entry of the journal, kept in table `note`: SQLite has none of its own, and
// nothing else would tell that a digit of a told weight has changed on the disk.
#pragma once

#include <cstdint>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/error.h"
#include "daemon/history/sqlite.h"
#include "daemon/history/store.h"

namespace torpor::daemon {

// Within the transaction that writes the entry.
[[nodiscard]] tl::expected<void, Error> put_check(Database& database, const JournalEntry& entry);

// The entry is gone, and somebody was told.
[[nodiscard]] tl::expected<void, Error> put_lost(Database& database, std::uint64_t number);

// Compares the journal with its checksums. Entries that have none yet get one.
[[nodiscard]] tl::expected<JournalFaults, Error> check_entries(
    Database& database, const std::vector<JournalEntry>& journal);

}  // namespace torpor::daemon
