// Published values as data: CSV files beside this one, whose comments name the source and say how
// close ours must come.
//   # tolerance COLUMN: AMOUNT relative | absolute (why)
//   column,column
//   1,2
#pragma once

#include <cstddef>
#include <map>
#include <string>
#include <vector>

namespace torpor::test {

class ReferenceTable {
 public:
  // Reads tests/reference/`name`. Throws std::runtime_error, which fails the test, where the file
  // is missing or does not have the form above.
  explicit ReferenceTable(const std::string& name);

  [[nodiscard]] std::size_t size() const { return rows_.size(); }
  [[nodiscard]] double at(std::size_t row, const std::string& column) const;
  // True if `ours` is within the column's tolerance of the published value.
  [[nodiscard]] bool agrees(std::size_t row, const std::string& column, double ours) const;

 private:
  struct Tolerance {
    double amount = 0.0;
    bool relative = true;
  };

  void read_tolerance(const std::string& comment);
  void read_row(const std::string& line);

  std::string name_;
  std::vector<std::string> columns_;
  std::vector<std::vector<double>> rows_;
  std::map<std::string, Tolerance> tolerances_;
};

}  // namespace torpor::test
