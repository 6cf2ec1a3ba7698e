// Collects the faults of one text, given by byte offset, and hands them out as lines and columns in
// file order. Also judges whether the bytes are text at all.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "config/fault.h"

namespace torpor::config {

class FaultList {
 public:
  // The first faults of a file are what a person mends; the rest of a wholly wrong file would bury
  // them.
  static constexpr std::size_t kMostShown = 100;

  // `text` must outlive the list. A leading byte order mark is skipped: offsets count from after
  // it.
  FaultList(std::string_view text, std::string file);

  [[nodiscard]] std::string_view text() const { return text_; }
  void add(std::size_t offset, std::string message);
  [[nodiscard]] bool empty() const { return found_.empty(); }
  [[nodiscard]] Mark mark(std::size_t offset) const;
  // The line of mark(), without counting its characters.
  [[nodiscard]] int line(std::size_t offset) const;

  // In file order; of one place, in the order found. Beyond kMostShown one last fault of the file
  // says how many more there are.
  [[nodiscard]] std::vector<Fault> faults() const;

 private:
  struct Found {
    std::size_t offset;
    std::string message;
  };
  [[nodiscard]] std::string_view line_at(std::size_t offset) const;
  [[nodiscard]] std::size_t line_index(std::size_t offset) const;

  std::string_view text_;
  std::string file_;
  std::vector<std::size_t> line_starts_;
  std::vector<Found> found_;
};

// Adds a fault and returns false when the text is longer than `largest` bytes, not UTF-8 or holds
// characters that YAML does not allow.
[[nodiscard]] bool check_characters(FaultList& faults, std::size_t largest);

}  // namespace torpor::config
