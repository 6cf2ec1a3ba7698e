#include "daemon/history/logger_csv.h"

#include <doctest/doctest.h>

#include <sstream>

#include "samples.h"

namespace torpor::daemon {
namespace {

struct Import {
  tl::expected<LoggerCsvCounts, Error> result;
  std::vector<Reading> readings;
  std::vector<std::string> faults;
};

LoggerCsvOptions options_of_s1() {
  LoggerCsvOptions options;
  options.sensor = "s1";
  options.received_at = kEvening;
  return options;
}

Import import(const std::string& text, const LoggerCsvOptions& options = options_of_s1()) {
  std::istringstream stream(text);
  Import import;
  import.result = read_logger_csv(
      stream, options,
      [&](const std::vector<Reading>& row) -> tl::expected<void, Error> {
        import.readings.insert(import.readings.end(), row.begin(), row.end());
  return {};
},
      [&](const CsvFault& fault) {
  import.faults.push_back(fault_text(fault)); });
return import;
}  // namespace

Reading imported(Quantity quantity, double raw, Instant measured) {
  Reading value = reading("s1", quantity, raw, measured);
  value.received_at = kEvening;
  value.marks = kImported;
  return value;
}

LoggerColumns must_columns(std::string_view text) {
  auto columns = parse_logger_columns(text);
  if (!columns) FAIL(columns.error());
  return std::move(*columns);
}

const std::string kHeader = "time,temperature_degC,humidity_percent\n";

TEST_CASE("each row gives a reading of each quantity, marked as imported") {
  const auto got = import(kHeader + "2026-03-02T18:00:00Z,21.5,61\n");
  REQUIRE(got.result);
  const Instant measured = kEvening - std::chrono::minutes(30);
  CHECK(got.readings == std::vector<Reading>{imported(Quantity::temperature, 21.5, measured),
                                             imported(Quantity::humidity, 61, measured)});
  CHECK(got.faults.empty());
  CHECK(got.result->rows == 1);
  CHECK(got.result->readings == 2);
  CHECK(got.result->rows_refused == 0);
}

TEST_CASE("times are RFC 3339, or date and time in UTC, with seconds or not") {
  struct Row {
    const char* time;
    std::int64_t ms;  // since 2026-03-02T00:00:00Z
  };
  const Row rows[] = {
      {"2026-03-02T06:30:00Z", 23'400'000}, {"2026-03-02T06:30:00+01:00", 19'800'000},
      {"2026-03-02 06:30:00Z", 23'400'000}, {"2026-03-02T06:30:00.250Z", 23'400'250},
      {"2026-03-02 06:30", 23'400'000},     {"2026-03-02 06:30:15", 23'415'000},
      {"2026-03-02T06:30", 23'400'000},     {"2026-03-02 06:30:15.5", 23'415'500},
      {"\"2026-03-02 06:30\"", 23'400'000}, {"  2026-03-02 06:30  ", 23'400'000},
  };
  for (const Row& row : rows) {
    CAPTURE(row.time);
    const auto got = import("time,temperature_degC\n" + std::string(row.time) + ",1\n");
    REQUIRE(got.readings.size() == 1);
    CHECK(unix_ms(got.readings[0].measured_at) == 1772409600000 + row.ms);
  }
}

TEST_CASE("with a zone, times without an offset are local, others are as they say") {
  LoggerCsvOptions options = options_of_s1();
  options.local_time = [](std::string_view text) -> tl::expected<Instant, std::string> {
    if (text == "2026-03-02 02:30")
      return tl::unexpected(std::string("skipped by the clock change"));
    return kEvening - std::chrono::hours(1);
  };
  const auto got = import(
      "time_local,temperature_degC\n2026-03-02 18:30,1\n2026-03-02 "
      "02:30,2\n2026-03-02T18:30:00Z,3\n",
      options);
  REQUIRE(got.result);
  REQUIRE(got.readings.size() == 2);
  CHECK(got.readings[0].measured_at == kEvening - std::chrono::hours(1));
  CHECK(got.readings[1].measured_at == kEvening);
  CHECK(got.faults == std::vector<std::string>{"line 3, column 1: skipped by the clock change"});
}

TEST_CASE("a faulty row is named by line and column and left out, the others are kept") {
  struct Row {
    const char* row;
    const char* fault;
  };
  const Row rows[] = {
      {"yesterday,1,2",
       "line 3, column 1: \"yesterday\" is not a time; expected YYYY-MM-DD HH:MM, with seconds or "
       "not, or RFC 3339 such as 2026-03-02T18:30:00Z"},
      {",1,2",
       "line 3, column 1: \"\" is not a time; expected YYYY-MM-DD HH:MM, with seconds or not, or "
       "RFC 3339 such as 2026-03-02T18:30:00Z"},
      {"2026-02-30 18:00,1,2",
       "line 3, column 1: \"2026-02-30 18:00\" is not a time; expected YYYY-MM-DD HH:MM, with "
       "seconds or not, or RFC 3339 such as 2026-03-02T18:30:00Z"},
      {"2026-03-02,1,2",
       "line 3, column 1: \"2026-03-02\" is not a time; expected YYYY-MM-DD HH:MM, with seconds or "
       "not, or RFC 3339 such as 2026-03-02T18:30:00Z"},
      {"1999-12-31T23:59:59.999Z,1,2",
       "line 3, column 1: 1999-12-31T23:59:59.999Z is before 2000: set the logger's clock, then "
       "correct the file"},
      {"2026-03-02T18:35:00.001Z,1,2",
       "line 3, column 1: 2026-03-02T18:35:00.001Z is in the future: check the logger's clock, and "
       "--zone if its times are local"},
      {"2026-03-02 18:00,warm,2",
       "line 3, column 18: \"warm\" is not a number; expected one such as 21.5, or an empty cell "
       "where there is no value"},
      {"2026-03-02 18:00,1,NaN",
       "line 3, column 20: \"NaN\" is not a number; expected one such as 21.5, or an empty cell "
       "where there is no value"},
      {"2026-03-02 18:00,1e999,2",
       "line 3, column 18: \"1e999\" is not a number; expected one such as 21.5, or an empty cell "
       "where there is no value"},
      {"2026-03-02 18:00,\"21,5\",2",
       "line 3, column 18: \"21,5\" has a comma; expected a number with a point, such as 21.5"},
      {"2026-03-02 18:00,21,5,2", "line 3, column 23: this row has 4 cells, the header has 3"},
      {"2026-03-02 18:00,1", "line 3, column 18: this row has 2 cells, the header has 3"},
      {"2026-03-02 18:00,1\"2,3",
       "line 3, column 19: a quote inside a cell that does not begin with one; expected the whole "
       "cell in quotes, with \"\" for a quote in it"},
      {"2026-03-02 18:00,\"1\"2,3",
       "line 3, column 21: text after the closing quote; expected a comma or the end of the line"},
      {"2026-03-02 18:00,\"1,3", "line 3, column 18: the quote opened here is never closed"},
      {"2026-03-02 18:00,°é1,\"3", "line 3, column 22: the quote opened here is never closed"},
  };
  for (const Row& row : rows) {
    CAPTURE(row.row);
    const auto got = import(kHeader + "2026-03-02 17:00,10,50\n" + row.row +
                            "\n2026-03-02 18:10,11,51\n2026-03-02 18:20,12,52\n");
    REQUIRE(got.result);
    CHECK(got.faults == std::vector<std::string>{row.fault});
    CHECK(got.readings.size() == 6);
    CHECK(got.result->rows == 4);
    CHECK(got.result->rows_refused == 1);
  }
}

TEST_CASE("all faults of a row are told") {
  const auto got = import(kHeader + "then,warm,damp\n");
  CHECK(got.faults.size() == 3);
  CHECK(got.result->rows_refused == 1);
}

TEST_CASE("the first and the last accepted moment") {
  const auto got =
      import("time,temperature_degC\n2000-01-01T00:00:00Z,1\n2026-03-02T18:35:00Z,2\n");
  CHECK(got.readings.size() == 2);
  CHECK(got.faults.empty());
}

TEST_CASE("empty cells are missing values") {
  const auto got = import(kHeader +
                          "2026-03-02 18:00,,61\n2026-03-02 18:01,21,\"\"\n"
                          "2026-03-02 18:02, ,\n");
  REQUIRE(got.result);
  CHECK(got.readings.size() == 2);
  CHECK(got.result->empty_cells == 4);
  CHECK(got.result->rows_refused == 0);
  CHECK(got.faults.empty());
}

TEST_CASE("values that air cannot have are kept and marked") {
  const auto& range = facts(Quantity::humidity);
  const auto got =
      import("time,humidity_percent\n2026-03-02 18:00," + std::to_string(range.highest) +
             "\n2026-03-02 18:01," + std::to_string(range.highest + 1) + "\n");
  REQUIRE(got.readings.size() == 2);
  CHECK(got.readings[0].marks == kImported);
  CHECK(got.readings[1].marks == (kImported | kOutOfRange));
  CHECK(got.result->out_of_range == 1);
}

TEST_CASE("units are kept as they came") {
  const auto got = import("time,temperature_degF\n2026-03-02 18:00,+68.0\n");
  REQUIRE(got.readings.size() == 1);
  CHECK(got.readings[0].unit == Unit::fahrenheit);
  CHECK(got.readings[0].raw == 68.0);
  CHECK(got.readings[0].value() == doctest::Approx(20.0));
}

TEST_CASE(
    "quotes, line ends, a byte order mark and blank lines are as RFC 4180 and editors have them") {
  const std::string rows[] = {
      "\"time\",\"temperature_degC\"\r\n\"2026-03-02 18:00\",\"21.5\"\r\n",
      "\xEF\xBB\xBFtime,temperature_degC\n2026-03-02 18:00,21.5",
      "time,temperature_degC\r2026-03-02 18:00,21.5\r",
      "\n\n time , temperature_degC \n\n2026-03-02 18:00 , 21.5 \n \t\n",
      "note,time,temperature_degC\n\"one, \"\"two\"\"\nthree\",2026-03-02 18:00,21.5\n",
  };
  for (const std::string& text : rows) {
    CAPTURE(text);
    const auto got = import(text);
    REQUIRE_MESSAGE(got.result, (got.result ? "" : got.result.error().text));
    CHECK(got.faults.empty());
    REQUIRE(got.readings.size() == 1);
    CHECK(got.readings[0].raw == 21.5);
  }
}

TEST_CASE("a line after a cell of two lines has its own number") {
  const auto got = import("time,note,temperature_degC\n2026-03-02 18:00,\"a\nb\",1\nx,,2\n");
  REQUIRE(got.faults.size() == 1);
  CHECK(got.faults[0].starts_with("line 4, column 1: "));
}

TEST_CASE("a line of endless length costs itself only") {
  const std::string longest(kLongestCsvLine - std::string("2026-03-02 18:00,1,").size(), 'x');
  const std::string head = "time,temperature_degC,note\n";
  CHECK(import(head + "2026-03-02 18:00,1," + longest + "\n").readings.size() == 1);
  const auto got = import(head + "2026-03-02 18:00,1," + longest + "x\n2026-03-02 18:01,2,\n");
  CHECK(got.readings.size() == 1);
  CHECK(got.faults == std::vector<std::string>{
                          "line 2, column 1: this line is longer than 65536 bytes; expected a "
                          "logger's row of a few cells"});
}

TEST_CASE("a cell holds up to sixteen lines") {
  const auto with_lines = [](int lines) {
    std::string text = "time,note,temperature_degC\n2026-03-02 18:00,\"";
    for (int i = 1; i < lines; ++i) text += "\n";
    return text + "\",1\n";
  };
  CHECK(import(with_lines(kMostLinesOfARow)).faults.empty());
  CHECK(import(with_lines(kMostLinesOfARow + 1)).faults.at(0) ==
        "line 2, column 18: the quote opened here is never closed");
}

TEST_CASE("a file that is no logger's CSV is refused as a whole") {
  struct Row {
    std::string text;
    const char* error;
  };
  const Row rows[] = {
      {"", "line 1, column 1: the file is empty; expected a header and rows below it"},
      {"\n \n", "line 1, column 1: the file is empty; expected a header and rows below it"},
      {"time;temperature_degC\n2026-03-02 18:00;1\n",
       "line 1, column 1: the columns are not separated by commas (found: time;temperature_degC); "
       "save the file with commas between columns and points in numbers"},
      {"\n\xFF\xFEt", "line 2, column 1: the file is in UTF-16; save it as CSV in UTF-8"},
      {"time,\"temp\n1,2\n", "line 1, column 6: the quote opened here is never closed"},
      {"time_local,temperature_degC\n",
       "line 1, column 1: the column time_local holds local times: say in which zone with --zone, "
       "or read them as UTC with --columns time=time_local,..."},
      {"time,time,temperature_degC\n",
       "line 1, column 1: two columns are named \"time\"; rename one of them"},
  };
  for (const Row& row : rows) {
    CAPTURE(row.text);
    const auto got = import(row.text);
    REQUIRE_FALSE(got.result);
    CHECK(got.result.error().kind == ErrorKind::refused);
    CHECK(got.result.error().text == row.error);
  }
}

TEST_CASE("a column list reads a file of any names, and says what it left") {
  LoggerCsvOptions options = options_of_s1();
  options.columns = must_columns("time=date,temperature=T1:°C,humidity=RH_1:%");
  const auto got = import("date,T1,RH_1,T2\n2026-03-02 18:00:00,21.5,61,9\n", options);
  REQUIRE(got.result);
  CHECK(got.readings.size() == 2);
  CHECK(got.result->unused_columns == std::vector<std::string>{"T2"});

  const auto missing = import("date,T1\n", options);
  REQUIRE_FALSE(missing.result);
  CHECK(missing.result.error().text ==
        "line 1, column 1: there is no column \"RH_1\"; found: date, T1");
}

TEST_CASE("the open data of an office room is read by its columns, local times as UTC") {
  LoggerCsvOptions options = options_of_s1();
  options.columns = must_columns(
      "time=time_local,temperature=temperature_degC:°C,humidity=relative_humidity_percent:%");
  const auto got = import(
      "time_local,temperature_degC,relative_humidity_percent,humidity_ratio_kg_per_kg\n"
      "2015-02-02 14:19:00,23.7,26.272,0.00476416302416414\n",
      options);
  REQUIRE(got.readings.size() == 2);
  CHECK(unix_ms(got.readings[0].measured_at) == 1422886740000);
  CHECK(got.readings[0].raw == 23.7);
  CHECK(got.readings[1].raw == 26.272);
}

TEST_CASE("an error of the receiver ends the import") {
  std::istringstream text(kHeader + "2026-03-02 18:00,1,2\n2026-03-02 18:01,1,2\n");
  int rows = 0;
  const auto result = read_logger_csv(
      text, options_of_s1(),
      [&](const std::vector<Reading>&) -> tl::expected<void, Error> {
        ++rows;
        return tl::unexpected(Error{ErrorKind::disk_full, "full"});
      },
      [](const CsvFault&) {});
  CHECK(rows == 1);
  REQUIRE_FALSE(result);
  CHECK(result.error().text == "full");
}

}  // namespace torpor::daemon
}  // namespace torpor::daemon
