// Tables of text within a width, and paint for a terminal: for the .cpp files that show text.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace torpor::daemon {

enum class Paint { none, strong, warning, alarm };

// The text between the escape sequences of its paint, or as it is without colour.
[[nodiscard]] std::string painted(std::string_view text, Paint paint, bool colour);

struct Column {
  std::string title;
  bool right = false;
  // Where the table is too wide, columns of rank 1 are cut first, then those of rank 2; those of
  // rank 0 never. None is cut below its title's width.
  int elastic = 0;
};

struct Cell {
  std::string text;  // anything: made printable here
  Paint paint = Paint::none;
  Cell(std::string said, Paint with = Paint::none) : text(std::move(said)), paint(with) {}
  Cell(const char* said) : text(said) {}
};

class Table {
 public:
  explicit Table(std::vector<Column> columns);
  // Precondition: as many cells as columns.
  void add(std::vector<Cell> cells);
  // Title line and rows, two blanks between columns, each line ended, none with trailing blanks.
  [[nodiscard]] std::string text(int width, bool colour) const;

 private:
  [[nodiscard]] std::vector<int> widths(int width) const;

  std::vector<Column> columns_;
  std::vector<std::vector<Cell>> rows_;
};

}  // namespace torpor::daemon
