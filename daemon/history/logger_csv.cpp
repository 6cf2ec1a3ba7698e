#include "daemon/history/logger_csv.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <chrono>
#include <cmath>
#include <utility>

#include "sensors/payload.h"
#include "sensors/rfc3339.h"

namespace torpor::daemon {
namespace {

// Design: measured before 2000-01-01 is refused; a logger whose clock was never set says 1970.
constexpr Instant kEarliest = std::chrono::sys_days(std::chrono::year(2000) / 1 / 1);

struct PlacedColumn {
  ValueColumn column;
  std::size_t index = 0;
};
struct PlacedColumns {
  std::size_t time = 0;
  std::vector<PlacedColumn> values;
  std::size_t count = 0;  // cells in the header
  std::vector<std::string> unused;
};

using CsvRefused = tl::unexpected<std::string>;

tl::expected<std::size_t, std::string> index_of(const std::vector<std::string>& names,
                                                const std::string& name) {
  const auto found = std::ranges::find(names, name);
  if (found == names.end()) {
    return CsvRefused(
        fmt::format("there is no column \"{}\"; found: {}", excerpt(name), listed_columns(names)));
  }
  if (std::find(found + 1, names.end(), name) != names.end()) {
    return CsvRefused(
        fmt::format("two columns are named \"{}\"; rename one of them", excerpt(name)));
  }
  return static_cast<std::size_t>(found - names.begin());
}

// What else a file may be, seen by its first line.
std::optional<std::string> foreign_form(const std::vector<std::string>& names) {
  const std::string& first = names.front();
  if (first.starts_with("\xFF\xFE") || first.starts_with("\xFE\xFF")) {
    return "the file is in UTF-16; save it as CSV in UTF-8";
  }
  if (names.size() == 1 && (first.find(';') != first.npos || first.find('\t') != first.npos)) {
    return fmt::format(
        "the columns are not separated by commas (found: {}); save the file with "
        "commas between columns and points in numbers",
        excerpt(first));
  }
  return std::nullopt;
}

tl::expected<PlacedColumns, std::string> place_columns(const CsvRow& header,
                                                       const LoggerCsvOptions& options) {
  std::vector<std::string> names;
  names.reserve(header.cells.size());
  for (const CsvCell& cell : header.cells) names.push_back(cell.text);
  if (auto foreign = foreign_form(names)) return CsvRefused(std::move(*foreign));

  const auto columns = options.columns ? tl::expected<LoggerColumns, std::string>(*options.columns)
                                       : columns_of_header(names);
  if (!columns) return CsvRefused(columns.error());
  if (columns->time_is_local && !options.local_time) {
    return CsvRefused(
        "the column time_local holds local times: say in which zone with --zone, or read them as "
        "UTC with --columns time=time_local,...");
  }
  PlacedColumns placed;
  placed.count = names.size();
  const auto time = index_of(names, columns->time);
  if (!time) return CsvRefused(time.error());
  placed.time = *time;
  for (const ValueColumn& column : columns->values) {
    const auto index = index_of(names, column.name);
    if (!index) return CsvRefused(index.error());
    placed.values.push_back({column, *index});
  }
  for (std::size_t i = 0; i < names.size(); ++i) {
    const bool used =
        i == placed.time ||
        std::ranges::any_of(placed.values, [i](const auto& value) { return value.index == i; });
    if (!used) placed.unused.push_back(names[i]);
  }
  return placed;
}

// `YYYY-MM-DD HH:MM[:SS]` as if it were UTC.
std::optional<Instant> without_offset(std::string_view text) {
  constexpr std::size_t kToTheMinute = std::string_view("2026-03-02 18:30").size();
  std::string full(text);
  if (text.size() == kToTheMinute) full += ":00";
  return parse_rfc3339(full + "Z");
}

tl::expected<Instant, std::string> time_of(std::string_view text, const LoggerCsvOptions& options) {
  if (const auto instant = parse_rfc3339(text)) return *instant;
  const auto as_utc = without_offset(text);
  if (!as_utc) {
    return CsvRefused(
        fmt::format("\"{}\" is not a time; expected YYYY-MM-DD HH:MM, with seconds or "
                    "not, or RFC 3339 such as 2026-03-02T18:30:00Z",
                    excerpt(text)));
  }
  return options.local_time ? options.local_time(text)
                            : tl::expected<Instant, std::string>(*as_utc);
}

tl::expected<Instant, std::string> accepted_time_of(std::string_view text,
                                                    const LoggerCsvOptions& options) {
  auto instant = time_of(text, options);
  if (!instant) return instant;
  if (*instant < kEarliest) {
    return CsvRefused(fmt::format(
        "{} is before 2000: set the logger's clock, then correct the file", to_rfc3339(*instant)));
  }
  if (*instant > options.received_at + kFutureTolerance) {
    return CsvRefused(
        fmt::format("{} is in the future: check the logger's clock, and --zone if its "
                    "times are local",
                    to_rfc3339(*instant)));
  }
  return instant;
}

tl::expected<double, std::string> number_of(std::string_view text) {
  std::string_view digits = text;
  if (digits.starts_with('+') && !digits.starts_with("+-")) digits.remove_prefix(1);
  double number = 0;
  const char* const end = digits.data() + digits.size();
  const auto [stop, error] = std::from_chars(digits.data(), end, number);
  if (error == std::errc() && stop == end && std::isfinite(number)) return number;
  if (text.find(',') != text.npos) {
    return CsvRefused(fmt::format(
        "\"{}\" has a comma; expected a number with a point, such as 21.5", excerpt(text)));
  }
  return CsvRefused(
      fmt::format("\"{}\" is not a number; expected one such as 21.5, or an empty cell "
                  "where there is no value",
                  excerpt(text)));
}

// Reads the rows below the header.
class RowReader {
 public:
  RowReader(const PlacedColumns& columns, const LoggerCsvOptions& options,
            const CsvFaultSink& on_fault, LoggerCsvCounts& counts)
      : columns_(columns), options_(options), on_fault_(on_fault), counts_(counts) {}

  // Empty: the row was refused, or has no values.
  std::vector<Reading> read(const CsvRow& row) {
    ++counts_.rows;
    refused_ = false;
    std::vector<Reading> readings;
    if (row.fault) {
      refuse(row.fault->at, row.fault->text);
    } else if (row.cells.size() != columns_.count) {
      refuse(row.cells.back().at, fmt::format("this row has {} cells, the header has {}",
                                              row.cells.size(), columns_.count));
    } else {
      readings = readings_of(row);
    }
    if (refused_) {
      ++counts_.rows_refused;
      return {};
    }
    count(row, readings);
    return readings;
  }

 private:
  void refuse(const CsvPlace& at, std::string text) {
    refused_ = true;
    on_fault_({at, std::move(text)});
  }

  std::vector<Reading> readings_of(const CsvRow& row) {
    const CsvCell& time = row.cells[columns_.time];
    const auto measured = accepted_time_of(time.text, options_);
    if (!measured) refuse(time.at, measured.error());
    std::vector<Reading> readings;
    for (const PlacedColumn& value : columns_.values) {
      const CsvCell& cell = row.cells[value.index];
      if (cell.text.empty()) continue;
      const auto raw = number_of(cell.text);
      if (!raw) refuse(cell.at, raw.error());
      if (raw && measured) readings.push_back(reading_of(value.column, *raw, *measured));
    }
    return readings;
  }

  Reading reading_of(const ValueColumn& column, double raw, Instant measured) const {
    Reading reading{options_.sensor, column.quantity,      raw,      column.unit,
                    measured,        options_.received_at, kImported};
    if (!physically_possible(column.quantity, reading.value())) reading.marks |= kOutOfRange;
    return reading;
  }

  void count(const CsvRow& row, const std::vector<Reading>& readings) {
    counts_.readings += readings.size();
    counts_.empty_cells += static_cast<std::uint64_t>(std::ranges::count_if(
        columns_.values,
        [&](const PlacedColumn& value) { return row.cells[value.index].text.empty(); }));
    counts_.out_of_range += static_cast<std::uint64_t>(
        std::ranges::count_if(readings, [](const Reading& reading) { return !reading.trusted(); }));
  }

  const PlacedColumns& columns_;
  const LoggerCsvOptions& options_;
  const CsvFaultSink& on_fault_;
  LoggerCsvCounts& counts_;
  bool refused_ = false;
};

tl::unexpected<Error> unusable(const CsvFault& fault) {
  return tl::unexpected(Error{ErrorKind::refused, fault_text(fault)});
}

}  // namespace

std::string fault_text(const CsvFault& fault) {
  return fmt::format("line {}, column {}: {}", fault.at.line, fault.at.column, fault.text);
}

tl::expected<LoggerCsvCounts, Error> read_logger_csv(std::istream& text,
                                                     const LoggerCsvOptions& options,
                                                     const RowSink& on_row,
                                                     const CsvFaultSink& on_fault) {
  CsvRows rows(text);
  const std::optional<CsvRow> header = rows.next();
  if (!header) return unusable({{}, "the file is empty; expected a header and rows below it"});
  if (header->fault) return unusable(*header->fault);
  const auto columns = place_columns(*header, options);
  if (!columns) return unusable({header->cells.front().at, columns.error()});

  LoggerCsvCounts counts;
  counts.unused_columns = columns->unused;
  RowReader reader(*columns, options, on_fault, counts);
  while (const std::optional<CsvRow> row = rows.next()) {
    const std::vector<Reading> readings = reader.read(*row);
    if (readings.empty()) continue;
    if (auto taken = on_row(readings); !taken) return tl::unexpected(taken.error());
  }
  return counts;
}

}  // namespace torpor::daemon
