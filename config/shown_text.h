// What placing and printing a fault needs to know of text: characters, not bytes, and excerpts that
// are safe to print. Characters are read by sensors/utf8.h.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace torpor::config {

// Characters in valid UTF-8.
[[nodiscard]] std::size_t characters(std::string_view text);

// What a person wrote, safe in a message: control characters as `?`, at most 40 characters and
// `...` when cut.
[[nodiscard]] std::string shown(std::string_view text);
// The same in backticks.
[[nodiscard]] std::string quoted(std::string_view text);
// True if a value holds a control character, line breaks and tabs included.
[[nodiscard]] bool has_control_character(std::string_view text);

}  // namespace torpor::config
