// A logger's CSV file as Readings: its header or a column list says which column is what, each row
// gives one reading of each measured quantity. A faulty row is reported with its place and left
// out; the others are kept. Rows are handed on one at a time: the file may be of any length.
#pragma once

#include <cstdint>
#include <functional>
#include <istream>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/error.h"
#include "daemon/history/csv_rows.h"
#include "daemon/history/logger_columns.h"
#include "sensors/reading.h"

namespace torpor::daemon {

struct LoggerCsvOptions {
  std::string sensor;
  Instant received_at;                   // of every reading; later than it is the future
  std::optional<LoggerColumns> columns;  // absent: by the header's names
  // "2026-03-02 18:30" in the zone that was asked for; a fault is a sentence. Absent: times without
  // an offset are UTC.
  std::function<tl::expected<Instant, std::string>(std::string_view)> local_time;
};

struct LoggerCsvCounts {
  std::uint64_t rows = 0;                   // below the header, blank lines not counted
  std::uint64_t rows_refused = 0;           // each with at least one fault
  std::uint64_t readings = 0;               // handed on
  std::uint64_t empty_cells = 0;            // missing values
  std::uint64_t out_of_range = 0;           // handed on with kOutOfRange
  std::vector<std::string> unused_columns;  // names in the header that nothing was read from
};

// The readings of one row; never empty. An error ends the import and is returned.
using RowSink = std::function<tl::expected<void, Error>(const std::vector<Reading>& readings)>;
using CsvFaultSink = std::function<void(const CsvFault& fault)>;

// Error of kind refused: the header cannot be used; its text begins with "line 1, column 1: ".
[[nodiscard]] tl::expected<LoggerCsvCounts, Error> read_logger_csv(std::istream& text,
                                                                   const LoggerCsvOptions& options,
                                                                   const RowSink& on_row,
                                                                   const CsvFaultSink& on_fault);

// "line 3, column 12: ..."
[[nodiscard]] std::string fault_text(const CsvFault& fault);

}  // namespace torpor::daemon
