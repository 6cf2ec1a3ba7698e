// UTF-8 (RFC 3629) as far as intake needs it: is this text, and where does the next character end.
#pragma once

#include <cstddef>
#include <string_view>

namespace torpor {

// Bytes of the character that `text` begins with: 1 to 4. 0: text is empty or does not begin with
// a well-formed character (overlong forms, surrogates and values past U+10FFFF are not).
[[nodiscard]] std::size_t utf8_character_length(std::string_view text);

// Offset of the first byte that is not part of a well-formed character; npos: all of it is UTF-8.
[[nodiscard]] std::size_t find_not_utf8(std::string_view text);

}  // namespace torpor
