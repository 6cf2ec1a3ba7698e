// Comma-separated text as rows of cells (RFC 4180), one row in memory at a time. It knows nothing
// of what the cells mean.
#pragma once

#include <cstdint>
#include <deque>
#include <istream>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace torpor::daemon {

// Where in the file, as an editor counts: both from 1, columns in characters (UTF-8).
struct CsvPlace {
  std::uint64_t line = 1;
  std::uint64_t column = 1;
  friend bool operator==(const CsvPlace&, const CsvPlace&) = default;
};
struct CsvFault {
  CsvPlace at;
  std::string text;  // what was found, what was expected
  friend bool operator==(const CsvFault&, const CsvFault&) = default;
};
struct CsvCell {
  std::string text;  // without its quotes; unquoted cells without spaces around
  CsvPlace at;
};
struct CsvRow {
  std::vector<CsvCell> cells;  // empty when there is a fault
  std::optional<CsvFault> fault;
};

// A longer line is not a logger's: no row takes more memory than about this.
inline constexpr std::size_t kLongestCsvLine = std::size_t{64} * 1024;
// A quoted cell may hold line ends, up to so many; a quote that is never closed costs only its
// line.
inline constexpr int kMostLinesOfARow = 16;

class CsvRows {
 public:
  explicit CsvRows(std::istream& text) : text_(text) {}

  // The next row that is not blank; nullopt at the end. Line ends are LF, CRLF or CR; a byte order
  // mark at the start is passed over.
  [[nodiscard]] std::optional<CsvRow> next();

 private:
  struct Line {
    std::string text;
    std::uint64_t number = 0;
    bool too_long = false;
  };
  std::optional<Line> take_line();
  std::optional<Line> read_line();

  std::istream& text_;
  std::uint64_t lines_read_ = 0;
  std::deque<Line> put_back_;
};

}  // namespace torpor::daemon
