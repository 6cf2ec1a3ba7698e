// Reads the published values in tests/reference/culture: comment lines start with #, then a header,
// then rows; the last column is the source and may hold anything but a line end.
#pragma once

#include <doctest/doctest.h>

#include <fstream>
#include <map>
#include <sstream>
#include <string>
#include <vector>

namespace torpor::rules::culture::testing {

class ReferenceRow {
 public:
  std::map<std::string, std::string> fields;
  [[nodiscard]] double number(const std::string& column) const {
    REQUIRE_MESSAGE(fields.count(column) == 1, "no column " << column);
    return std::stod(fields.at(column));
  }
  [[nodiscard]] const std::string& text(const std::string& column) const {
    REQUIRE_MESSAGE(fields.count(column) == 1, "no column " << column);
    return fields.at(column);
  }
  [[nodiscard]] std::string label() const {
    std::string all;
    for (const auto& [name, value] : fields) all += name + "=" + value + " ";
    return all;
  }
};

inline std::vector<ReferenceRow> reference_table(const std::string& name) {
  std::ifstream file(std::string(TORPOR_CULTURE_REFERENCE) + "/" + name + ".csv");
  REQUIRE_MESSAGE(file.good(), "tests/reference/culture/" << name << ".csv is missing");
  std::vector<std::string> header;
  std::vector<ReferenceRow> rows;
  for (std::string line; std::getline(file, line);) {
    if (line.empty() || line[0] == '#') continue;
    std::vector<std::string> cells;
    std::istringstream stream(line);
    const bool is_header = header.empty();
    for (std::string cell; std::getline(stream, cell, ',');) {
      cells.push_back(cell);
      if (!is_header && cells.size() + 1 == header.size()) break;
    }
    if (!is_header) {
      std::string source;
      std::getline(stream, source);
      cells.push_back(source);
    }
    if (is_header) {
      header = cells;
      continue;
    }
    REQUIRE(cells.size() == header.size());
    ReferenceRow row;
    for (std::size_t i = 0; i < header.size(); ++i) row.fields[header[i]] = cells[i];
    rows.push_back(row);
  }
  REQUIRE_FALSE(rows.empty());
  return rows;
}

}  // namespace torpor::rules::culture::testing
