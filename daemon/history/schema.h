// The tables of the history file, and how a file is known to be ours and of which version.
// FORMAT.md describes each table.
#pragma once

#include <filesystem>

#include <tl/expected.hpp>

#include "daemon/error.h"
#include "daemon/history/sqlite.h"

namespace torpor::daemon {

enum class SchemaState {
  empty,  // no tables at all: a new file
  current,
  older,  // to be migrated by the writer
};

// Whose file this is. Errors: corrupt (not SQLite, or another program's), newer_version.
// `file` is for messages.
[[nodiscard]] tl::expected<SchemaState, Error> check_schema(Database& database,
                                                            const std::filesystem::path& file);

// Makes or migrates the tables, each version in one transaction.
[[nodiscard]] tl::expected<void, Error> bring_to_current(Database& database);

}  // namespace torpor::daemon
