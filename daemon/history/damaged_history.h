// What becomes of a history that is damaged: it is set aside whole, beside its place, and what can
// still be read of it comes over into a new one, row by row. A small copy of an earlier night gives
// what it has beyond that.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/error.h"

namespace torpor::daemon {

// Rows of one kind.
struct SavedRows {
  std::uint64_t brought = 0;    // of them all
  std::uint64_t from_copy = 0;  // among those brought
  std::uint64_t lost = 0;       // as far as their numbers tell
};

struct Salvaged {
  SavedRows journal, alerts, models, days, readings;
  std::vector<std::uint64_t> lost_entries;  // of the journal
  bool rules_state = false;                 // came over
  std::uint64_t unreadable_pages = 0, unreadable_rows = 0;
  std::uint64_t nameless = 0;  // readings and days of sensors whose names are lost
  std::string copy_of;         // the small copy that helped; empty: none
};

enum class Extent {
  whole,
  small,  // without readings and what follows from them
};

// Brings what can be read of `damaged` into a history that is made at `target`. `copy` is an
// unpacked small copy; empty: there is none.
[[nodiscard]] tl::expected<Salvaged, Error> salvage(const std::filesystem::path& damaged,
                                                    const std::filesystem::path& copy,
                                                    const std::filesystem::path& target,
                                                    Extent extent = Extent::whole);

// Brings the readings, and days of them, that can be read of `damaged` into a history that lacks
// them: how many came new. By the sensors' names.
[[nodiscard]] tl::expected<std::uint64_t, Error> add_readings(const std::filesystem::path& damaged,
                                                              const std::filesystem::path& history);

// Brings what an older history knows and `history` does not, as far as it can be read: readings,
// days of them, changes of alerts, and the entries with which the journal goes on.
struct Added {
  std::uint64_t readings = 0, days = 0, entries = 0;
};
[[nodiscard]] tl::expected<Added, Error> add_later(const std::filesystem::path& from,
                                                   const std::filesystem::path& history);

// "117 of 118 journal entries (1 from the copy), ..."; what is lost, where anything is.
[[nodiscard]] std::string brought_text(const Salvaged& salvaged);
[[nodiscard]] std::string lost_text(const Salvaged& salvaged);

// By the first page's header alone: the rest may be damaged.
[[nodiscard]] bool says_it_is_a_history(const std::filesystem::path& file);

// Renames a history with the files beside it that may hold its newest pages: FILE.WHY-MOMENT. The
// caller holds the lock.
[[nodiscard]] tl::expected<std::filesystem::path, Error> set_aside(
    const std::filesystem::path& file, std::string_view why, const std::string& moment);

// "20260302T183000".
[[nodiscard]] std::string moment_in_a_name(std::int64_t unix_ms);

}  // namespace torpor::daemon
