#include "config/word_position.h"

#include <algorithm>

namespace torpor::config {
namespace {

// Walks value and source side by side; stops at the first difference it cannot explain.
class Follower {
 public:
  Follower(std::string_view text, std::size_t at, std::string_view value)
      : text_(text), source_(at), value_(value) {
    const char first = at < text.size() ? text[at] : ' ';
    block_ = first == '|' || first == '>';
    quote_ = first == '"' || first == '\'' ? first : '\0';
    if (block_) {
      enter_block();
    } else if (quote_ != '\0') {
      ++source_;
    }
  }

  [[nodiscard]] std::optional<std::size_t> reach(std::size_t offset) {
    const std::size_t goal = std::min(offset, value_.size());
    while (read_ < goal) {
      if (!step()) return std::nullopt;
    }
    // A goal behind a fold stands at the next line's first letter, not at the end of this line.
    return source_ <= text_.size() ? std::optional(source_) : std::nullopt;
  }

 private:
  [[nodiscard]] char here() const { return source_ < text_.size() ? text_[source_] : '\0'; }

  // True if only blanks stand between here and the end of the line.
  [[nodiscard]] bool at_line_end() const {
    const std::size_t next = text_.find_first_not_of(" \t\r", source_);
    return next == std::string_view::npos || text_[next] == '\n';
  }

  bool step() {
    const char c = value_[read_];
    if (here() == '\\' && quote_ == '"') return false;
    if ((c == ' ' || c == '\n') && (block_ ? at_break() : at_line_end())) return follow_fold();
    if (here() != c) return false;
    source_ += quote_ == '\'' && c == '\'' ? 2 : 1;
    ++read_;
    return true;
  }

  [[nodiscard]] bool at_break() const {
    return here() == '\n' || (here() == '\r' && text_.substr(source_, 2) == "\r\n");
  }

  // Lines that were joined by one space, or kept apart by one line break fewer or as many.
  bool follow_fold() {
    if (value_[read_] == ' ') {
      ++read_;
    } else {
      while (read_ < value_.size() && value_[read_] == '\n') ++read_;
    }
    if (block_) {
      while (at_break()) next_block_line();
    } else {
      source_ = std::min(text_.find_first_not_of(" \t\r\n", source_), text_.size());
    }
    return true;
  }

  void next_block_line() {
    source_ = std::min(text_.find('\n', source_), text_.size() - 1) + 1;
    for (std::size_t i = 0; i < indent_ && here() == ' '; ++i) ++source_;
  }

  // Past the header line to the first line's text; its blanks are the block's indentation, unless
  // the header states one, which is relative to a parent that is not known here.
  void enter_block() {
    const std::size_t header_end = std::min(text_.find('\n', source_), text_.size());
    const std::string_view header = text_.substr(source_, header_end - source_);
    const std::size_t comment = header.find('#');
    if (header.substr(0, comment).find_first_of("123456789") != std::string_view::npos) {
      value_ = {};  // unmappable: every offset is the beginning
      return;
    }
    std::size_t line = std::min(header_end + 1, text_.size());
    const std::size_t first = text_.find_first_not_of(" \r\n", line);
    if (first == std::string_view::npos) return;
    line = text_.rfind('\n', first) + 1;
    indent_ = first - line;
    source_ = first;
    // Blank lines before the first text are line breaks of the value.
    while (read_ < value_.size() && value_[read_] == '\n') ++read_;
  }

  std::string_view text_;
  std::size_t source_;
  std::string_view value_;
  std::size_t read_ = 0;
  std::size_t indent_ = 0;
  bool block_ = false;
  char quote_ = '\0';
};

}  // namespace

std::optional<std::size_t> position_in_word(std::string_view text, std::size_t at,
                                            std::string_view value, std::size_t offset) {
  return Follower(text, at, value).reach(offset);
}

}  // namespace torpor::config
