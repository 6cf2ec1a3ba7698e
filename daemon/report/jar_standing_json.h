// A jar's standing as JSON and back: how the service keeps it for the commands and pages, and the
// part of it that every JSON of a jar shows.
#pragma once

#include <string>
#include <string_view>

#include <nlohmann/json.hpp>
#include <tl/expected.hpp>

#include "rules/standing/standing.h"

namespace torpor::daemon {

// The note of the history that holds a jar's standing.
[[nodiscard]] std::string standing_note(std::string_view jar);

// jar_standing_from_json(jar_standing_json(s)) == s, but for figures beyond seven digits.
[[nodiscard]] std::string jar_standing_json(const rules::Standing& standing);
// Error: what is wrong with it.
[[nodiscard]] tl::expected<rules::Standing, std::string> jar_standing_from_json(
    std::string_view text);

// Adds "state", "use", "urgency", "reasons" (the reason why first), "deed", "next_deed",
// "next_date", "next_date_is" and "recomputing".
void add_standing(nlohmann::ordered_json& tree, const rules::Standing& standing);

}  // namespace torpor::daemon
