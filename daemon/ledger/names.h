// Finds jars and places by what a person typed: short forms where they are unambiguous, and the
// nearest known name where they are not known.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/ledger/name_index.h"
#include "daemon/ledger/sentence.h"

namespace torpor::daemon {

// The one of `names` that an id means, or a refusal that asks which or names the nearest. `what`
// says what they are; the example of the refusal is EXAMPLE_BEFORE ID EXAMPLE_BEHIND.
[[nodiscard]] tl::expected<std::string, SentenceRefusal> name_meant(
    const NameIndex& names, std::string_view id, std::string_view what,
    std::string_view example_before, std::string_view example_behind = "");

// The place as configured: the exact path, else the only one that equals it but for case and a
// trailing slash; nullopt: none, or several.
[[nodiscard]] std::optional<std::string> place_called(const std::vector<std::string>& places,
                                                      std::string_view path);

// The known place most likely meant by an unknown one: one that ends in it, else the nearest by
// spelling; empty: none is near.
[[nodiscard]] std::string nearest_place(const std::vector<std::string>& places,
                                        std::string_view path);
// The place a path means, or a refusal that names the nearest. Its example: EXAMPLE_BEFORE PLACE.
[[nodiscard]] tl::expected<std::string, SentenceRefusal> place_meant(
    const std::vector<std::string>& places, std::string_view path, std::string_view example_before);

}  // namespace torpor::daemon
