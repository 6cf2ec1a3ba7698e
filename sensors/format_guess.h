// What form a sensor nobody has configured yet speaks in, guessed from one of its messages: form,
// fields, units, time. A guess for a person to look at; decode() never guesses.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "sensors/payload.h"

namespace torpor {

struct FormatGuess {
  PayloadFormat format;
  std::vector<Reading> readings;   // what that format reads from this message
  std::vector<std::string> notes;  // one line each: what a guess rests on, what was passed over
};

// Names are read in the pointers of an object, in the names of a pack and, for a bare number, in
// the topic. Error: one line that says why no format would read it, and what to do.
[[nodiscard]] tl::expected<FormatGuess, std::string> guess_format(std::string_view topic,
                                                                  std::string_view payload,
                                                                  Instant received_at);

}  // namespace torpor
