// file    = [ BOM ] { row line-end }
// row     = cell { "," cell }
// cell    = plain | quoted
// plain   = { any character but quote, comma and line end }
// quoted  = { space } '"' { any character but quote, or '""' for one } '"' { space }
//
// Valid:    2026-03-02 18:30,21.5,"61,2"        "Temp, ""top"""        a,,b (the second is empty)
// Invalid:  21"5 (a quote in a plain cell)      "21"5 (text after the closing quote)
#include "daemon/history/csv_rows.h"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "sensors/trimmed.h"

namespace torpor::daemon {
namespace {

constexpr std::string_view kByteOrderMark = "\xEF\xBB\xBF";
constexpr std::string_view kBlanks = " \t";

bool is_blank(std::string_view line) {
  return line.find_first_not_of(kBlanks) == std::string_view::npos;
}

// Cuts one row's text into cells.
class RowScanner {
 public:
  RowScanner(std::string_view text, std::uint64_t first_line) : text_(text) {
    place_.line = first_line;
  }

  CsvRow scan() {
    CsvRow row;
    do {
      CsvCell cell = next_cell();
      if (fault_) return {{}, std::move(fault_)};
      row.cells.push_back(std::move(cell));
    } while (take_comma());
    return row;
  }
  // The text ended inside of quotes: the fault that scan() returned says where they opened.
  [[nodiscard]] bool wants_more() const { return open_quote_; }

 private:
  [[nodiscard]] bool at_end() const { return offset_ == text_.size(); }
  [[nodiscard]] char peek() const { return text_[offset_]; }
  [[nodiscard]] bool at_blank() const { return !at_end() && (peek() == ' ' || peek() == '\t'); }

  char take() {
    const char c = text_[offset_++];
    const bool continues_character = (static_cast<unsigned char>(c) & 0xC0u) == 0x80u;
    if (c == '\n') {
      ++place_.line;
      place_.column = 1;
    } else if (!continues_character) {
      ++place_.column;
    }
    return c;
  }
  bool take_comma() {
    if (at_end()) return false;
    take();  // scan_plain() and scan_quoted() stop only there
    return true;
  }

  CsvCell next_cell() {
    while (at_blank()) take();
    CsvCell cell;
    cell.at = place_;
    if (!at_end() && peek() == '"') {
      scan_quoted(cell);
    } else {
      scan_plain(cell);
    }
    return cell;
  }

  void scan_plain(CsvCell& cell) {
    std::string text;
    while (!at_end() && peek() != ',') {
      if (peek() == '"') {
        fault_ = {place_,
                  "a quote inside a cell that does not begin with one; expected the whole "
                  "cell in quotes, with \"\" for a quote in it"};
        return;
      }
      text.push_back(take());
    }
    cell.text = trimmed(text, kBlanks);
  }

  void scan_quoted(CsvCell& cell) {
    take();
    while (true) {
      if (at_end()) {
        open_quote_ = true;
        fault_ = {cell.at, "the quote opened here is never closed"};
        return;
      }
      const char c = take();
      if (c != '"') {
        cell.text.push_back(c);
      } else if (!at_end() && peek() == '"') {
        cell.text.push_back(take());
      } else {
        break;
      }
    }
    while (at_blank()) take();
    if (!at_end() && peek() != ',') {
      fault_ = {place_, "text after the closing quote; expected a comma or the end of the line"};
    }
  }

  std::string_view text_;
  std::size_t offset_ = 0;
  CsvPlace place_;
  std::optional<CsvFault> fault_;
  bool open_quote_ = false;
};

}  // namespace

std::optional<CsvRow> CsvRows::next() {
  std::optional<Line> line = take_line();
  while (line && !line->too_long && is_blank(line->text)) line = take_line();
  if (!line) return std::nullopt;
  if (line->too_long) {
    return CsvRow{{},
                  CsvFault{{line->number, 1},
                           fmt::format("this line is longer than {} bytes; expected a logger's "
                                       "row of a few cells",
                                       kLongestCsvLine)}};
  }
  RowScanner first(line->text, line->number);
  CsvRow row = first.scan();
  bool open = first.wants_more();
  std::string text = line->text;
  std::deque<Line> joined;
  while (open && static_cast<int>(joined.size()) + 1 < kMostLinesOfARow) {
    std::optional<Line> more = take_line();
    if (!more) break;
    joined.push_back(std::move(*more));
    if (joined.back().too_long) break;
    text += '\n';
    text += joined.back().text;
    RowScanner again(text, line->number);
    CsvRow longer = again.scan();
    open = again.wants_more();
    if (!open) return longer;
  }
  // Still open: only the line with the quote is lost.
  put_back_.insert(put_back_.begin(), std::make_move_iterator(joined.begin()),
                   std::make_move_iterator(joined.end()));
  return row;
}

std::optional<CsvRows::Line> CsvRows::take_line() {
  if (put_back_.empty()) return read_line();
  Line line = std::move(put_back_.front());
  put_back_.pop_front();
  return line;
}

std::optional<CsvRows::Line> CsvRows::read_line() {
  std::streambuf* const bytes = text_.rdbuf();
  constexpr int kEnd = std::char_traits<char>::eof();
  int c = bytes->sbumpc();
  if (c == kEnd) return std::nullopt;
  Line line;
  line.number = ++lines_read_;
  while (c != kEnd && c != '\n' && c != '\r') {
    line.too_long = line.too_long || line.text.size() == kLongestCsvLine;
    if (!line.too_long) line.text.push_back(static_cast<char>(c));
    c = bytes->sbumpc();
  }
  if (c == '\r' && bytes->sgetc() == '\n') bytes->sbumpc();
  if (line.number == 1 && line.text.starts_with(kByteOrderMark)) {
    line.text.erase(0, kByteOrderMark.size());
  }
  return line;
}

}  // namespace torpor::daemon
