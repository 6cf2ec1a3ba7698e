// Which column of a logger's file is what: from its header, or from what the person wrote after
// --columns.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "sensors/quantity.h"

namespace torpor::daemon {

struct ValueColumn {
  Quantity quantity = Quantity::temperature;
  Unit unit = Unit::celsius;
  std::string name;
  friend bool operator==(const ValueColumn&, const ValueColumn&) = default;
};
struct LoggerColumns {
  std::string time;
  bool time_is_local = false;  // the header calls it time_local: a zone is needed
  std::vector<ValueColumn> values;
  friend bool operator==(const LoggerColumns&, const LoggerColumns&) = default;
};

// "time=date,temperature=T1:°C,humidity=RH_1:%". Names that hold a comma stand in quotes, with ""
// for a quote. Errors are sentences for the person who wrote it.
[[nodiscard]] tl::expected<LoggerColumns, std::string> parse_logger_columns(std::string_view text);

// From a header of `time` (or `time_local`) and columns named quantity_unit: temperature_degC,
// humidity_percent. Others are nobody's.
[[nodiscard]] tl::expected<LoggerColumns, std::string> columns_of_header(
    const std::vector<std::string>& names);

// "date, T1, RH_1", for a message: safe to print, and after twenty only how many more.
[[nodiscard]] std::string listed_columns(const std::vector<std::string>& names);

}  // namespace torpor::daemon
