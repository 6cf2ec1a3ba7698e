// What every reader of a person's file promises about the faults it reports.
#pragma once

#include <algorithm>
#include <string>
#include <string_view>
#include <vector>

#include "config/fault.h"
#include "sensors/utf8.h"
#include "tests/fuzz/checks.h"

namespace torpor::fuzz {

inline void require_fault(const config::Fault& fault, std::string_view text) {
  require(fault.file == "input.yaml", "a fault names its file");
  require_message(fault.message, 4000);
  const auto lines = 1 + std::count(text.begin(), text.end(), '\n');
  require(fault.at.line >= 0 && fault.at.line <= lines + 1, "a fault's line is in the file");
  require(fault.at.line == 0 || fault.at.column >= 1, "a fault on a line has a column");
  require(fault.at.column <= static_cast<int>(text.size()) + 1, "a column is within the file");
  require(fault.source_line.find('\n') == std::string::npos, "a source line is one line");
  require(find_not_utf8(fault.source_line) == std::string_view::npos, "a source line is UTF-8");
  require(to_text(fault).starts_with("input.yaml:"), "a fault begins with its file");
}

}  // namespace torpor::fuzz
