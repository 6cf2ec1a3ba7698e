#include "tests/reference/table.h"

#include <algorithm>
#include <cmath>
#include <fstream>
#include <sstream>
#include <stdexcept>

namespace torpor::test {
namespace {

std::vector<std::string> split(const std::string& line) {
  std::vector<std::string> fields;
  std::istringstream stream(line);
  for (std::string field; std::getline(stream, field, ',');) fields.push_back(field);
  return fields;
}

}  // namespace

ReferenceTable::ReferenceTable(const std::string& name) : name_(name) {
  std::ifstream file(std::string(TORPOR_SOURCE_DIR) + "/tests/reference/" + name);
  if (!file) throw std::runtime_error(name + ": cannot be opened");
  for (std::string line; std::getline(file, line);) {
    if (line.starts_with("#")) {
      read_tolerance(line);
    } else if (columns_.empty()) {
      columns_ = split(line);
    } else {
      read_row(line);
    }
  }
  if (rows_.empty()) throw std::runtime_error(name + ": has no rows");
}

void ReferenceTable::read_tolerance(const std::string& comment) {
  std::istringstream stream(comment);
  std::string hash, word, column, kind;
  Tolerance tolerance;
  if (!(stream >> hash >> word) || word != "tolerance") return;
  if (!(stream >> column >> tolerance.amount >> kind) || column.back() != ':' ||
      (kind != "relative" && kind != "absolute")) {
    throw std::runtime_error(name_ + ": cannot read: " + comment);
  }
  column.pop_back();
  tolerance.relative = kind == "relative";
  tolerances_[column] = tolerance;
}

void ReferenceTable::read_row(const std::string& line) {
  std::vector<double> row;
  for (const std::string& field : split(line)) row.push_back(std::stod(field));
  if (row.size() != columns_.size()) throw std::runtime_error(name_ + ": uneven row: " + line);
  rows_.push_back(std::move(row));
}

double ReferenceTable::at(std::size_t row, const std::string& column) const {
  const auto found = std::find(columns_.begin(), columns_.end(), column);
  if (found == columns_.end()) throw std::runtime_error(name_ + ": has no column " + column);
  return rows_.at(row).at(static_cast<std::size_t>(found - columns_.begin()));
}

bool ReferenceTable::agrees(std::size_t row, const std::string& column, double ours) const {
  const auto tolerance = tolerances_.find(column);
  if (tolerance == tolerances_.end()) {
    throw std::runtime_error(name_ + ": has no tolerance for " + column);
  }
  const double published = at(row, column);
  const double scale = tolerance->second.relative ? std::abs(published) : 1.0;
  return std::abs(ours - published) <= tolerance->second.amount * scale;
}

}  // namespace torpor::test
