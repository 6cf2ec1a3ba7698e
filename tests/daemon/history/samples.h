// Records and readings that several tests of the history use.
#pragma once

#include <doctest/doctest.h>

#include <algorithm>
#include <chrono>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <memory>
#include <ostream>
#include <string>
#include <utility>
#include <vector>

#include "daemon/history/inbox.h"
#include "daemon/history/store.h"

namespace torpor::daemon {

inline constexpr Instant kNever = instant_of(std::numeric_limits<std::int64_t>::min());
inline constexpr Instant kAlways = instant_of(std::numeric_limits<std::int64_t>::max());
// 2026-03-02T18:30:00Z.
inline constexpr Instant kEvening = instant_of(1772476200000);

inline Reading reading(std::string sensor, Quantity quantity, double raw, Instant measured) {
  const Unit unit = quantity == Quantity::temperature ? Unit::celsius : Unit::percent;
  return {std::move(sensor), quantity, raw, unit, measured, measured + Duration(250), kUnmarked};
}

inline Reading temperature(double raw, Instant measured) {
  return reading("s1", Quantity::temperature, raw, measured);
}

inline ReadingsRecord message(std::vector<Reading> readings) {
  return {readings.front().received_at, std::move(readings), 0, false};
}

inline TickRecord tick(int i) { return {kEvening + std::chrono::seconds(i)}; }

// One of each kind, with every field in use.
inline std::vector<InboxPayload> one_of_each() {
  ReadingsRecord readings{kEvening + Duration(7),
                          {temperature(21.5, kEvening),
                           reading("s1", Quantity::humidity, 61.25, kEvening),
                           {"keller/süd", Quantity::temperature, -40.0, Unit::fahrenheit,
                            kEvening - Duration(1), kEvening, kStampedOnArrival | kOutOfRange}},
                          0xfedcba9876543210u,
                          true};
  TellRecord tell{kEvening, "seen alert 12", "Anna", "torpor/cellar/answer/x", {"\0\xff\x01", 3},
                  true};
  return {readings,
          tell,
          LinkRecord{kEvening, true},
          TickRecord{kEvening},
          JarModelRecord{"B-07", 3, kEvening, {"\0model\xff", 7}},
          DiskRecord{kEvening, 12.5},
          ClockStepRecord{kEvening, Duration(-3'600'000)},
          ClockMoveRecord{kEvening, kEvening - Duration(7), Duration(-3'600'000)}};
}

// The value of a result, or a failed test with its text.
template <class Value>
Value must(tl::expected<Value, Error> result) {
  if (!result) FAIL(result.error().text);
  return std::move(*result);
}
inline void must(const tl::expected<void, Error>& result) {
  if (!result) FAIL(result.error().text);
}

inline std::unique_ptr<Inbox> open_inbox(const std::filesystem::path& folder,
                                         std::uint64_t after = 0) {
  InboxOptions options;
  options.folder = folder;
  return must(Inbox::open(options, after));
}

inline std::vector<std::uint64_t> numbers_of(const std::vector<InboxRecord>& records) {
  std::vector<std::uint64_t> numbers;
  for (const InboxRecord& record : records) numbers.push_back(record.sequence);
  return numbers;
}

inline std::vector<std::filesystem::path> files_in(const std::filesystem::path& folder) {
  std::vector<std::filesystem::path> files;
  if (!std::filesystem::exists(folder)) return files;
  for (const auto& entry : std::filesystem::directory_iterator(folder)) {
    files.push_back(entry.path());
  }
  std::sort(files.begin(), files.end());
  return files;
}

inline std::vector<Reading> drain(ReadingCursor& cursor) {
  std::vector<Reading> readings;
  while (auto next = cursor.next()) readings.push_back(std::move(*next));
  return readings;
}

}  // namespace torpor::daemon
