// Blocks, rows and inbox as one series: in order of measured-at, each moment once. What is stored
// wins over an inbox record of the same moment, and of two records the one with the lower number:
// the first one kept.
#pragma once

#include <map>
#include <memory>
#include <string>
#include <string_view>
#include <tuple>
#include <vector>

#include "daemon/history/inbox.h"
#include "daemon/history/store.h"

namespace torpor::daemon {

// The readings that stand in the inbox but not yet in rows.
class InboxReadings {
 public:
  using Series = std::map<Instant, Reading>;

  InboxReadings() = default;
  // Records up to `folded` are rows already.
  InboxReadings(const std::vector<InboxRecord>& records, std::uint64_t folded);

  // Empty if there are none.
  [[nodiscard]] const Series& series(std::string_view sensor, Quantity quantity) const;
  [[nodiscard]] std::vector<std::string> sensors() const;  // sorted, each once
  [[nodiscard]] std::optional<Instant> newest_measured() const;

 private:
  struct Key {
    std::string sensor;
    Quantity quantity;
  };
  struct ByKey {
    using is_transparent = void;
    using View = std::pair<std::string_view, Quantity>;
    static View view(const Key& key) { return {key.sensor, key.quantity}; }
    static View view(const View& key) { return key; }
    template <class A, class B>
    bool operator()(const A& a, const B& b) const {
      return view(a) < view(b);
    }
  };

  std::map<Key, Series, ByKey> series_;
};

// Both in order; where both have a moment, the one of `kept` stays. Either may be null.
[[nodiscard]] std::unique_ptr<ReadingCursor> joined_cursor(std::unique_ptr<ReadingCursor> kept,
                                                           std::unique_ptr<ReadingCursor> other);

// `rows` may be null. `series` must outlive the cursor.
[[nodiscard]] std::unique_ptr<ReadingCursor> merged_cursor(std::unique_ptr<ReadingCursor> rows,
                                                           const InboxReadings::Series& series,
                                                           Instant from, Instant to);

}  // namespace torpor::daemon
