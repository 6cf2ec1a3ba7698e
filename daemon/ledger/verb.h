// What begins a sentence, and how the rest of it is read: one table's row. Internal to this room;
// the tables are in sentence.cpp and deed_text.cpp.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/ledger/cursor.h"
#include "daemon/ledger/sentence.h"

namespace torpor::daemon {

// What `at` and `by` say. Between fields they may stand before the act has ended.
struct Endings {
  std::optional<Instant> at;
  std::string by;
};

struct Verb {
  std::string_view words;
  std::string_view form;
  std::string_view example;
  tl::expected<Sentence, SentenceRefusal> (*read)(Cursor& cursor, Endings& endings,
                                                  const LocalTime& zone);
};

// The act about the first of `about`, which is not empty, and the rest beside it.
template <class ActOfJar>
[[nodiscard]] Sentence about_jars(ActOfJar act, std::vector<std::string> about) {
  act.jar = std::move(about.front());
  about.erase(about.begin());
  Sentence sentence{std::move(act)};
  sentence.also = std::move(about);
  return sentence;
}

}  // namespace torpor::daemon
