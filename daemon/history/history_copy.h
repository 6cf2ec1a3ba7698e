// A consistent copy of a history as one file: written beside its name, synced, then named. What
// `torpor backup` makes, and what stays of a file before it is brought to a newer schema.
#pragma once

#include <filesystem>

#include <tl/expected.hpp>

#include "daemon/error.h"
#include "daemon/history/sqlite.h"

namespace torpor::daemon {

// Copies what the connection's next read transaction sees to `target`, mode 0600. A failure leaves
// nothing behind; a kill may leave TARGET.part. Kind exists: something stands at `target`, it is
// left as it is. Precondition: the connection is not in a transaction.
[[nodiscard]] tl::expected<void, Error> copy_history(Database& database,
                                                     const std::filesystem::path& target);

// The same of a history file, which a writer may have open. Kind not_found: there is none.
[[nodiscard]] tl::expected<void, Error> copy_history_file(const std::filesystem::path& file,
                                                          const std::filesystem::path& target);

// The same under the first free name of NAME, NAME.2, NAME.3, ...; returns it.
[[nodiscard]] tl::expected<std::filesystem::path, Error> keep_copy(
    Database& database, const std::filesystem::path& name);

}  // namespace torpor::daemon
