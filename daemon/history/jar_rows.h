// The jars' models, their checkpoints and their days as rows. The bytes are the models' owner's; no
// transaction is begun or ended here.
#pragma once

#include <optional>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/history/sqlite.h"
#include "daemon/history/store.h"

namespace torpor::daemon {

[[nodiscard]] tl::expected<void, Error> put_model_row(Database& database, std::string_view jar,
                                                      std::string_view bytes);
[[nodiscard]] tl::expected<void, Error> remove_model_row(Database& database, std::string_view jar);
[[nodiscard]] tl::expected<std::vector<StoredJarModel>, Error> read_model_rows(Database& database);
[[nodiscard]] tl::expected<std::optional<std::string>, Error> read_model_row(Database& database,
                                                                             std::string_view jar);

// Replaces one of the same moment and thins the jar's older ones (store.h).
[[nodiscard]] tl::expected<void, Error> put_checkpoint_row(Database& database, std::string_view jar,
                                                           Instant at, std::string_view bytes);
// All at or after `from`.
[[nodiscard]] tl::expected<void, Error> remove_checkpoint_rows(Database& database,
                                                               std::string_view jar, Instant from);
[[nodiscard]] tl::expected<std::optional<StoredJarCheckpoint>, Error> read_checkpoint_before(
    Database& database, std::string_view jar, Instant at);

[[nodiscard]] tl::expected<void, Error> put_jar_day_row(Database& database, std::string_view jar,
                                                        const StoredJarDay& day);
// All from `first` on.
[[nodiscard]] tl::expected<void, Error> remove_jar_day_rows(Database& database,
                                                            std::string_view jar,
                                                            std::int64_t first);
// Within [first, last], in order.
[[nodiscard]] tl::expected<std::vector<StoredJarDay>, Error> read_jar_day_rows(Database& database,
                                                                               std::string_view jar,
                                                                               std::int64_t first,
                                                                               std::int64_t last);

}  // namespace torpor::daemon
