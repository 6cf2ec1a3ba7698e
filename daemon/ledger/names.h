// Finds jars and places by what a person typed: short forms where they are unambiguous, and the
// nearest known name where they are not known.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/ledger/ledger.h"

namespace torpor::daemon {

// The jars an id may mean: the one that equals it but for case; else all that equal it without
// dashes, underscores and leading zeros of numbers ("b7" is B-07 and B7).
[[nodiscard]] std::vector<const Jar*> jars_called(const std::map<std::string, Jar>& jars,
                                                  std::string_view id);

// The jar with this id, compared without case; nullptr: none.
[[nodiscard]] const Jar* jar_with_id(const std::map<std::string, Jar>& jars, std::string_view id);

// The one jar an id means, or a refusal that asks which or names the nearest. The example of the
// refusal is EXAMPLE_BEFORE ID EXAMPLE_BEHIND.
[[nodiscard]] tl::expected<const Jar*, SentenceRefusal> jar_meant(
    const std::map<std::string, Jar>& jars, std::string_view id, std::string_view example_before,
    std::string_view example_behind);

// The one of `names` that an id means, as jar_meant() finds it; `what` says what they are.
[[nodiscard]] tl::expected<std::string, SentenceRefusal> name_meant(
    const std::vector<std::string>& names, std::string_view id, std::string_view what,
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
