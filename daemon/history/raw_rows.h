// The rows of a damaged SQLite file, page by page and without SQLite: it gives a tree up at its
// first bad page, and everything behind that page with it. Here each page stands for itself. Only
// histories of ours are read so: which table a row is of is told by the kinds of its values.
#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <string>
#include <variant>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/error.h"

namespace torpor::daemon {

// NULL, integer, real, text or blob (SQLite file format, section 2.1).
struct RawBlob {
  std::string bytes;
  friend bool operator==(const RawBlob&, const RawBlob&) = default;
};
using RawValue = std::variant<std::monostate, std::int64_t, double, std::string, RawBlob>;

struct RawRow {
  bool keyed = false;      // of a table without rowid (or of an index)
  std::int64_t rowid = 0;  // unless keyed
  std::vector<RawValue> values;
};

struct RawScan {
  std::uint64_t pages = 0;
  // Neither a page of rows, nor part of a long row, nor free: nobody can say what stood there.
  std::uint64_t unreadable_pages = 0;
  std::uint64_t unreadable_rows = 0;  // in pages that can be read
  // Commits at the log's end that came after damage in it.
  std::uint64_t lost_commits = 0;
};

// Visits the rows that can be read of the file as its write-ahead log beside it leaves it, in the
// order of pages. Pages on the free list are passed over while the list can be read.
[[nodiscard]] tl::expected<RawScan, Error> scan_rows(
    const std::filesystem::path& file, const std::function<void(const RawRow&)>& visit);

// Commits in the log beside the file that SQLite will pass over in silence, since damage stands
// before them. 0: none, or no log.
[[nodiscard]] std::uint64_t commits_lost_in_log(const std::filesystem::path& file);

}  // namespace torpor::daemon
