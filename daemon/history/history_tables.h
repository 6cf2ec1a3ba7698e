// What is asked of the history's tables, alike for the writer and for readers. Rows to values; no
// transaction is begun or ended here. reading_rows.h has the readings themselves.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/history/sqlite.h"
#include "daemon/history/store.h"

namespace torpor::daemon {

// Older than any reading that is accepted (2000-01-01): from here a sensor's first placement holds.
inline constexpr Instant kBeginning = instant_of(0);

[[nodiscard]] std::string measures_list(const std::vector<Quantity>& measures);  // stored

[[nodiscard]] tl::expected<std::vector<Placement>, Error> read_placements(Database& database);
[[nodiscard]] tl::expected<std::vector<JournalEntry>, Error> read_journal(Database& database);
[[nodiscard]] tl::expected<std::vector<StoredAlert>, Error> read_alerts(Database& database,
                                                                        bool open_only);
[[nodiscard]] tl::expected<std::vector<StoredAlertChange>, Error> read_alert_changes(
    Database& database, std::uint64_t number);
[[nodiscard]] tl::expected<std::vector<OutboxMessage>, Error> read_outbox(Database& database);
[[nodiscard]] tl::expected<std::optional<std::string>, Error> read_answer(
    Database& database, std::string_view correlation);
[[nodiscard]] tl::expected<std::optional<std::string>, Error> read_note(Database& database,
                                                                        std::string_view name);
[[nodiscard]] tl::expected<Store::Snapshot, Error> read_snapshot(Database& database);

// The clock was wrong: see Store::move_stamps(). Precondition: inside a transaction.
[[nodiscard]] tl::expected<void, Error> move_alert_rows(
    Database& database, Instant from, Duration by,
    const std::function<std::string(std::string_view)>& moved);
[[nodiscard]] tl::expected<void, Error> move_placement_rows(Database& database, Instant from,
                                                            Duration by);

}  // namespace torpor::daemon
