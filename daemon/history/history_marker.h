// What knows that there was a history: its identity, which stands in the SQLite file, too, written
// into its inbox's folder and into the folder of the service's state. A history that is missing,
// empty or another one is then told from a first start.
#pragma once

#include <filesystem>
#include <optional>
#include <string>

#include <tl/expected.hpp>

#include "daemon/error.h"
#include "daemon/history/sqlite.h"

namespace torpor::daemon {

// Its name in table `note`. Stored.
inline constexpr const char kIdentityNote[] = "identity";

// 32 hexadecimal digits chosen by chance.
[[nodiscard]] std::string new_identity();

// The identity of a history file; nullopt: it has none (written before there were any), or cannot
// be read.
[[nodiscard]] std::optional<std::string> identity_of(const std::filesystem::path& file);

// In the inbox's folder beside a history.
[[nodiscard]] std::filesystem::path marker_in(const std::filesystem::path& inbox);

// The identity that a marker names; nullopt: there is no marker, or it is damaged.
[[nodiscard]] std::optional<std::string> read_marker(const std::filesystem::path& marker);
// Does nothing where it stands already. `history` is for a person who looks into it.
[[nodiscard]] tl::expected<void, Error> write_marker(const std::filesystem::path& marker,
                                                     const std::string& identity,
                                                     const std::filesystem::path& history);

}  // namespace torpor::daemon
