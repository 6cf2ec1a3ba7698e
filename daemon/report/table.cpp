#include "daemon/report/table.h"

#include <algorithm>
#include <numeric>

#include "daemon/report/printable.h"

namespace torpor::daemon {
namespace {

constexpr int kGap = 2;

void trim_right(std::string& line) { line.erase(line.find_last_not_of(' ') + 1); }

}  // namespace

std::string painted(std::string_view text, Paint paint, bool colour) {
  std::string_view code;
  switch (paint) {  // ECMA-48, select graphic rendition: bold, yellow, bold red
    case Paint::none:
      break;
    case Paint::strong:
      code = "1";
      break;
    case Paint::warning:
      code = "33";
      break;
    case Paint::alarm:
      code = "1;31";
      break;
  }
  if (!colour || code.empty()) return std::string(text);
  return std::string("\x1b[").append(code).append("m").append(text).append("\x1b[0m");
}

Table::Table(std::vector<Column> columns) : columns_(std::move(columns)) {}

void Table::add(std::vector<Cell> cells) {
  for (Cell& cell : cells) cell.text = printable(cell.text);
  rows_.push_back(std::move(cells));
}

std::vector<int> Table::widths(int width) const {
  std::vector<int> widths;
  for (std::size_t i = 0; i < columns_.size(); ++i) {
    int widest = display_width(columns_[i].title);
    for (const auto& row : rows_) widest = std::max(widest, display_width(row[i].text));
    widths.push_back(widest);
  }
  int excess = std::accumulate(widths.begin(), widths.end(), 0) +
               kGap * (static_cast<int>(columns_.size()) - 1) - width;
  for (const int rank : {1, 2}) {
    for (std::size_t i = 0; i < columns_.size(); ++i) {
      if (columns_[i].elastic != rank || excess <= 0) continue;
      const int spare = std::min(excess, widths[i] - display_width(columns_[i].title));
      widths[i] -= spare;
      excess -= spare;
    }
  }
  return widths;
}

std::string Table::text(int width, bool colour) const {
  const std::vector<int> columns = widths(width);
  const auto fitted = [&](std::size_t i, const std::string& text) {
    return columns_[i].right ? fit_right(text, columns[i]) : fit(text, columns[i]);
  };
  const std::string gap(kGap, ' ');

  std::string shown;
  for (std::size_t i = 0; i < columns_.size(); ++i) {
    shown += (i == 0 ? "" : gap) + fitted(i, columns_[i].title);
  }
  trim_right(shown);
  shown += '\n';
  for (const auto& row : rows_) {
    std::string line;
    for (std::size_t i = 0; i < row.size(); ++i) {
      std::string text = fitted(i, row[i].text);
      if (i + 1 == row.size()) trim_right(text);
      line += (i == 0 ? "" : gap) + painted(text, row[i].paint, colour);
    }
    trim_right(line);
    shown += line + '\n';
  }
  return shown;
}

}  // namespace torpor::daemon
