// Readings as rows of the history file: the cursor over one sensor's quantity, and single look-ups.
// The inbox is not seen here; merged_readings.h brings both together.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/history/sqlite.h"
#include "daemon/history/store.h"

namespace torpor::daemon {

// Told of a failure while rows are read. A cursor ends there.
using FaultSink = std::function<void(const Error&)>;

// Sensor ids and the small numbers that stand for them in rows.
class SensorNumbers {
 public:
  // nullopt: no row names that sensor.
  [[nodiscard]] tl::expected<std::optional<std::int64_t>, Error> find(Database& database,
                                                                      std::string_view id);
  [[nodiscard]] tl::expected<std::int64_t, Error> find_or_add(Database& database,
                                                              std::string_view id);
  // After a rollback: numbers given since the beginning of the transaction are void.
  void forget() { numbers_.clear(); }

 private:
  std::map<std::string, std::int64_t, std::less<>> numbers_;
};

// Rows measured in [from, to), in order, one at a time. The database must outlive the cursor.
[[nodiscard]] std::unique_ptr<ReadingCursor> row_cursor(Database& database, std::string sensor,
                                                        std::int64_t sensor_number,
                                                        Quantity quantity, Instant from, Instant to,
                                                        FaultSink on_fault);

[[nodiscard]] tl::expected<std::optional<Reading>, Error> last_row_before(
    Database& database, std::string_view sensor, std::int64_t sensor_number, Quantity quantity,
    Instant before);

// Ids of the sensors that have at least one row, sorted.
[[nodiscard]] tl::expected<std::vector<std::string>, Error> sensors_with_rows(Database& database);

[[nodiscard]] tl::expected<std::optional<Instant>, Error> newest_row(Database& database);

// Adds a row unless its key is taken. Precondition: reading.raw is finite.
[[nodiscard]] tl::expected<Stored, Error> put_row(Database& database, std::int64_t sensor_number,
                                                  const Reading& reading);
// What put_row() would say.
[[nodiscard]] tl::expected<Stored, Error> compare_row(Database& database,
                                                      std::int64_t sensor_number,
                                                      const Reading& reading);

}  // namespace torpor::daemon
