// The fields of `new jar`: in any order, each at most once.
#pragma once

#include <bitset>
#include <optional>
#include <string_view>

#include <tl/expected.hpp>

#include "daemon/ledger/cursor.h"
#include "daemon/ledger/sentence.h"

namespace torpor::daemon {

inline constexpr std::string_view kNewJarForm =
    "new jar ID in PLACE, then any of stage, rice, raw, cooked, sugar, sugar-kind, topping, "
    "vessel, "
    "empty, mouth, cover, closed, origin";
inline constexpr std::string_view kNewJarExample =
    "new jar B-07 in cellar/shelf-2 stage IMO-2 rice 1200 g raw 560 g sugar 1250 g cover paper "
    "closed 2026-03-02";

class NewJarReader {
 public:
  explicit NewJarReader(const LocalTime& zone) : zone_(zone) {}

  // The id after `new jar`.
  [[nodiscard]] tl::expected<void, SentenceRefusal> read_id(Cursor& cursor);
  // The field that begins at the cursor.
  [[nodiscard]] tl::expected<void, SentenceRefusal> read_field(Cursor& cursor);
  // The whole, once all fields are read; refused without a place.
  [[nodiscard]] tl::expected<NewJar, SentenceRefusal> finish() const;

 private:
  static constexpr std::size_t kMostFields = 16;

  const LocalTime& zone_;
  NewJar jar_;
  std::bitset<kMostFields> seen_;  // by row of the table of fields
};

}  // namespace torpor::daemon
