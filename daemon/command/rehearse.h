// `torpor rehearse`: a rule book over recorded history, and what was really raised beside it.
#pragma once

#include <filesystem>
#include <string>

#include "daemon/command/failure.h"

namespace torpor::daemon {

struct RehearseOrder {
  std::string rules;     // a rule book's file, or built-in; empty: those of the configuration
  std::string from, to;  // as typed, local; empty: from the first reading, to the newest
  bool json = false;
};

// Text or JSON. A fault in the rule book is a usage failure that names line and column.
[[nodiscard]] tl::expected<std::string, Failure> rehearse_rules(
    const RehearseOrder& order, const std::filesystem::path& config);

}  // namespace torpor::daemon
