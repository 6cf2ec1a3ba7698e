// A history that is damaged must not keep the watching from starting: it is set aside whole, beside
// its place, a new one is begun, and what can still be read of the small tables comes over.
// Readings do not: they stay in the file that was set aside.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>

#include <tl/expected.hpp>

#include "daemon/error.h"
#include "daemon/history/store.h"

namespace torpor::daemon {

struct ReplacedHistory {
  std::filesystem::path kept;  // the damaged file's new name
  std::string found;           // what could not be read
  std::string brought_over;    // "journal, alerts"; empty: nothing
  std::string lost;            // of the small tables
};

struct OpenedHistory {
  std::unique_ptr<Store> store;
  std::optional<ReplacedHistory> replaced;
};

// Store::open(), but a damaged file that is a history of ours is replaced. Whose it is not, and
// what could not be read for another reason, is an error as there. `now` names the file set aside.
[[nodiscard]] tl::expected<OpenedHistory, Error> open_or_replace(const std::filesystem::path& file,
                                                                 bool power_cut, Instant now);

}  // namespace torpor::daemon
