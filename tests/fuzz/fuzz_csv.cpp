// Any bytes as a logger's file, a notebook of jars and a column list: every fault has its place and
// is a sentence, what is taken is fit for the history and the ledger.
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <sstream>
#include <string>

#include "daemon/history/logger_csv.h"
#include "daemon/ledger/jar_csv.h"
#include "daemon/ledger/sentence.h"
#include "tests/fuzz/checks.h"

namespace torpor::fuzz {
namespace {

constexpr Instant kArrival = instant_of(1772476200000);  // 2026-03-02T18:30:00Z

const daemon::LocalTime& utc() {
  static const auto zone = daemon::LocalTime::in_zone("UTC");
  require(zone.has_value(), "the time zone data of the system is installed");
  return *zone;
}

void check_place(const daemon::CsvPlace& at, std::size_t lines) {
  require(at.line >= 1 && at.column >= 1, "places count from 1");
  require(at.line <= lines, "a fault lies in the file");
}

void check_logger(const std::string& text, std::size_t lines,
                  std::optional<daemon::LoggerColumns> columns) {
  std::istringstream file(text);
  daemon::LoggerCsvOptions options{"s1", kArrival, std::move(columns), {}};
  std::uint64_t handed_on = 0;
  const auto counts = daemon::read_logger_csv(
      file, options,
      [&](const std::vector<Reading>& readings) -> tl::expected<void, daemon::Error> {
        require(!readings.empty(), "a row that is handed on has readings");
        for (const Reading& reading : readings) {
          require(std::isfinite(reading.raw), "a value is a number");
          require(measures(reading.unit, reading.quantity), "a unit measures its quantity");
          ++handed_on;
        }
        return {};
      },
      [&](const daemon::CsvFault& fault) {
        check_place(fault.at, lines);
        require_message(daemon::fault_text(fault), 2000);
      });
  if (!counts) return require_message(counts.error().text, 2000);
  require(counts->readings == handed_on, "the counts are those of what was handed on");
  require(counts->rows_refused <= counts->rows, "no more is refused than there is");
}

void check_notebook(const std::string& text, std::size_t lines) {
  std::istringstream file(text);
  const daemon::JarCsv jars = daemon::read_jar_csv(file, utc());
  for (const daemon::CsvFault& fault : jars.faults) {
    check_place(fault.at, lines);
    require_message(daemon::fault_text(fault), 4000);
  }
  for (const daemon::JarCsvRow& row : jars.rows) {
    check_place(row.at, lines);
    const auto sentence = daemon::parse_sentence(row.sentence, utc());
    require(sentence.has_value(), "a row without a fault is a sentence");
    const auto* jar = std::get_if<daemon::NewJar>(&sentence->act);
    require(jar != nullptr && jar->jar == row.id, "a row registers its own jar");
  }
}

}  // namespace
}  // namespace torpor::fuzz

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace torpor;
  const std::string text(reinterpret_cast<const char*>(data), size);
  // CR, LF and CRLF all end a line.
  const auto lines = static_cast<std::size_t>(std::count_if(
                         text.begin(), text.end(), [](char c) { return c == '\n' || c == '\r'; })) +
                     1;
  fuzz::check_logger(text, lines, {});
  fuzz::check_notebook(text, lines);
  // The first line as --columns, the rest as the file it is for.
  const std::size_t end = text.find('\n');
  const auto columns = daemon::parse_logger_columns(text.substr(0, end));
  if (!columns) {
    fuzz::require_message(columns.error(), 2000);
  } else if (end != std::string::npos) {
    fuzz::check_logger(text.substr(end + 1), lines, *columns);
  }
  return 0;
}
