// JSON as sensors send it: the one place where text becomes a document, with limits, and JSON
// Pointers (RFC 6901) into it. Internal to this room.
#pragma once

#include <string>
#include <string_view>

#include <nlohmann/json_fwd.hpp>
#include <tl/expected.hpp>

#include "sensors/payload.h"

namespace torpor::decoding {

// Deepest nesting read. Sensors nest two or three levels; the limit keeps hostile text off the
// stack of whoever walks the document.
inline constexpr int kDeepestNesting = 16;

// Refused: what is not one JSON text, NaN and infinities (not_finite, numbers past a double's range
// included), nesting beyond the limit, and a key twice in one object, where two readers would
// disagree about which value counts.
[[nodiscard]] tl::expected<nlohmann::json, DecodeError> parse_json(std::string_view text);

// The value at a pointer, or nullptr. The pointer's syntax is the configuration's business: one
// that is not valid finds nothing.
[[nodiscard]] const nlohmann::json* find_by_pointer(const nlohmann::json& document,
                                                    std::string_view pointer);

// The finite number that `value` is. `where` names it in messages: "field /t", "v of record 2".
[[nodiscard]] tl::expected<double, DecodeError> number_of(const nlohmann::json& value,
                                                          const std::string& where);

// How a value of the wrong type is described: "the text "21.5"", "null", "an object".
[[nodiscard]] std::string describe(const nlohmann::json& value);

}  // namespace torpor::decoding
