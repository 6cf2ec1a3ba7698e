// What every fuzz target asserts. A broken check prints what broke and aborts, which is what a
// fuzzer looks for.
#pragma once

#include <cstddef>
#include <string_view>

namespace torpor::fuzz {

// Aborts with `what` unless it holds.
void require(bool holds, std::string_view what);

// A message for a person: some text, UTF-8, one line without control characters, not longer than
// `longest` bytes.
void require_message(std::string_view message, std::size_t longest = 1000);

}  // namespace torpor::fuzz
