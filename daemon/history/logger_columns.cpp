// columns = item { "," item }
// item    = "time=" name | quantity "=" name ":" unit
// name    = { any character but comma and quote } | '"' { any character, '""' for a quote } '"'
// The unit follows the last colon, so that a plain name may hold colons.
//
// Valid:    time=date,temperature=T1:°C,humidity=RH_1:%      time=t,temperature="Temp, top":degF
// Invalid:  temperature=T1:°C (no time)    time=date (nothing measured)    time=t,temperature=T1
#include "daemon/history/logger_columns.h"

#include <fmt/format.h>

#include <algorithm>
#include <optional>

#include "sensors/payload.h"

namespace torpor::daemon {
namespace {

constexpr std::string_view kShape =
    "write the columns as time=NAME,temperature=NAME:°C,humidity=NAME:%";

using ColumnsRefused = tl::unexpected<std::string>;

std::string quantity_words() {
  std::string words;
  for (const QuantityFacts& row : quantities()) words += fmt::format(" or {}", row.name);
  return words;
}

std::string units_of(Quantity quantity) {
  constexpr Unit kUnits[] = {Unit::celsius, Unit::fahrenheit, Unit::kelvin, Unit::percent};
  std::string units;
  for (const Unit unit : kUnits) {
    if (!measures(unit, quantity)) continue;
    units += units.empty() ? "" : ", ";
    units += symbol(unit);
  }
  return units;
}

struct Item {
  std::string key, name, unit;
  bool has_unit = false;
};

// Takes one item and the comma after it off the front of `rest`.
class ItemReader {
 public:
  explicit ItemReader(std::string_view text) : rest_(text) {}
  [[nodiscard]] bool finished() const { return rest_.empty() && !after_comma_; }

  tl::expected<Item, std::string> next() {
    after_comma_ = false;
    const std::size_t equals = rest_.find('=');
    if (equals == std::string_view::npos || rest_.substr(0, equals).find(',') != rest_.npos) {
      const std::string_view found = rest_.substr(0, rest_.find(','));
      return ColumnsRefused(fmt::format("\"{}\" has no \"=\"; {}", excerpt(found), kShape));
    }
    Item item;
    item.key = rest_.substr(0, equals);
    rest_.remove_prefix(equals + 1);
    if (rest_.starts_with('"')) {
      if (!take_quoted(item.name)) {
        return ColumnsRefused(
            fmt::format("the quote of the column of {} is never closed", excerpt(item.key)));
      }
    }
    const std::string_view tail = rest_.substr(0, rest_.find(','));
    if (auto taken = take_tail(tail, item); !taken) return ColumnsRefused(taken.error());
    rest_.remove_prefix(tail.size());
    after_comma_ = !rest_.empty();
    if (after_comma_) rest_.remove_prefix(1);
    return item;
  }

 private:
  bool take_quoted(std::string& name) {
    rest_.remove_prefix(1);
    while (!rest_.empty()) {
      const bool quote = rest_.front() == '"';
      if (quote && !rest_.substr(1).starts_with('"')) {
        rest_.remove_prefix(1);
        quoted_ = true;
        return true;
      }
      name.push_back(rest_.front());
      rest_.remove_prefix(quote ? 2 : 1);
    }
    return false;
  }

  // What stands between the quoted name, if there was one, and the comma.
  tl::expected<void, std::string> take_tail(std::string_view tail, Item& item) {
    const bool quoted = std::exchange(quoted_, false);
    // A time has no unit: all of it is the name.
    const std::size_t colon = item.key == "time" ? tail.npos : tail.rfind(':');
    const std::string_view before = tail.substr(0, std::min(colon, tail.size()));
    if (quoted && !before.empty()) {
      return ColumnsRefused(fmt::format("\"{}\" after the quoted column of {}; expected {}",
                                        excerpt(before), excerpt(item.key),
                                        item.key == "time" ? "a comma" : "\":\" and a unit"));
    }
    if (!quoted) item.name = before;
    item.has_unit = colon != tail.npos;
    if (item.has_unit) item.unit = tail.substr(colon + 1);
    return {};
  }

  std::string_view rest_;
  bool after_comma_ = false;
  bool quoted_ = false;
};

tl::expected<ValueColumn, std::string> value_column(const Item& item) {
  const std::optional<Quantity> quantity = quantity_named(item.key);
  if (!quantity) {
    return ColumnsRefused(fmt::format("\"{}\" is not something a column can hold; expected time{}",
                                      excerpt(item.key), quantity_words()));
  }
  if (!item.has_unit) {
    return ColumnsRefused(
        fmt::format("the column of {} has no unit; expected {}={}:UNIT with UNIT one of "
                    "{}",
                    item.key, item.key, excerpt(item.name), units_of(*quantity)));
  }
  const std::optional<Unit> unit = unit_named(item.unit);
  if (!unit || !measures(*unit, *quantity)) {
    return ColumnsRefused(fmt::format("\"{}\" is not a unit of {}; expected one of {}",
                                      excerpt(item.unit), item.key, units_of(*quantity)));
  }
  return ValueColumn{*quantity, *unit, item.name};
}

bool has_quantity(const LoggerColumns& columns, Quantity quantity) {
  return std::ranges::any_of(
      columns.values, [&](const ValueColumn& column) { return column.quantity == quantity; });
}

tl::expected<void, std::string> add_item(const Item& item, LoggerColumns& columns) {
  if (item.name.empty()) {
    return ColumnsRefused(
        fmt::format("the column of {} has no name; {}", excerpt(item.key), kShape));
  }
  if (item.key == "time") {
    if (!columns.time.empty()) return ColumnsRefused("time is given twice; keep one of them");
    columns.time = item.name;
    return {};
  }
  auto column = value_column(item);
  if (!column) return ColumnsRefused(column.error());
  if (has_quantity(columns, column->quantity)) {
    return ColumnsRefused(
        fmt::format("{} is given twice; one sensor has one column of it", item.key));
  }
  columns.values.push_back(std::move(*column));
  return {};
}

// "temperature_degC" -> temperature in degrees Celsius.
std::optional<ValueColumn> column_named(std::string_view name) {
  for (const QuantityFacts& row : quantities()) {
    if (!name.starts_with(row.name) || !name.substr(row.name.size()).starts_with('_')) continue;
    const std::optional<Unit> unit = unit_named(name.substr(row.name.size() + 1));
    if (unit && measures(*unit, row.quantity)) {
      return ValueColumn{row.quantity, *unit, std::string(name)};
    }
  }
  return std::nullopt;
}

}  // namespace

std::string listed_columns(const std::vector<std::string>& names) {
  constexpr std::size_t kMostListed = 20;
  std::string list;
  for (std::size_t i = 0; i < std::min(names.size(), kMostListed); ++i) {
    list += (list.empty() ? "" : ", ") + excerpt(names[i]);
  }
  if (names.size() > kMostListed) {
    list += fmt::format(" and {} more", names.size() - kMostListed);
  }
  return list;
}

tl::expected<LoggerColumns, std::string> parse_logger_columns(std::string_view text) {
  if (text.empty()) return ColumnsRefused(fmt::format("there are no columns; {}", kShape));
  LoggerColumns columns;
  ItemReader items(text);
  while (!items.finished()) {
    const auto item = items.next();
    if (!item) return ColumnsRefused(item.error());
    if (auto added = add_item(*item, columns); !added) return ColumnsRefused(added.error());
  }
  if (columns.time.empty())
    return ColumnsRefused(fmt::format("no column is given as time; {}", kShape));
  if (columns.values.empty()) {
    return ColumnsRefused(fmt::format("no column is given as a measured quantity; {}", kShape));
  }
  return columns;
}

tl::expected<LoggerColumns, std::string> columns_of_header(const std::vector<std::string>& names) {
  const auto has = [&](std::string_view name) {
    return std::ranges::find(names, name) != names.end();
  };
  LoggerColumns columns;
  columns.time_is_local = !has("time") && has("time_local");
  columns.time = columns.time_is_local ? "time_local" : "time";
  for (const std::string& name : names) {
    std::optional<ValueColumn> column = column_named(name);
    if (!column) continue;
    if (has_quantity(columns, column->quantity)) {
      return ColumnsRefused(fmt::format("two columns hold {}; say which one with --columns",
                                        facts(column->quantity).name));
    }
    columns.values.push_back(std::move(*column));
  }
  if (!has(columns.time) || columns.values.empty()) {
    const std::string_view missing = has(columns.time) ? "a measured quantity" : "the time";
    return ColumnsRefused(
        fmt::format("no column is named for {}; expected time, temperature_degC, "
                    "humidity_percent, or say which columns they are with --columns "
                    "time=NAME,temperature=NAME:°C,humidity=NAME:%. Found: {}",
                    missing, listed_columns(names)));
  }
  return columns;
}

}  // namespace torpor::daemon
