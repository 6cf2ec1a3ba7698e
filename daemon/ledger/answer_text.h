// How amounts and people's words appear in answers and refusals: one line, short, harmless on a
// terminal, a phone and in a page.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "sensors/quantity.h"

namespace torpor::daemon {

// "1200 g", "28.3 g": whole grams from 100 g on, tenths below.
[[nodiscard]] std::string grams_text(Grams amount);
[[nodiscard]] std::string volume_text(double ml);  // "3.8 l", "750 ml"
[[nodiscard]] std::string length_text(double mm);  // "11 cm", "8 mm"

// A person's words in a line of ours: control characters become blanks, < and > single guillemets,
// bytes that are not UTF-8 a replacement character; cut with "..." after `longest` characters.
[[nodiscard]] std::string harmless(std::string_view text, std::size_t longest = 400);
// The same in quotes, short, for "X was not understood".
[[nodiscard]] std::string shown(std::string_view text);

// A place or text as it must be written in a sentence: quoted if it is not one plain word.
[[nodiscard]] std::string as_told(std::string_view text);

// Without the full stop at its end, to go on behind it.
[[nodiscard]] std::string without_stop(std::string text);

// "a", "a and b", "a, b and c"; beyond `most`: "a, b and 7 more".
[[nodiscard]] std::string listed(const std::vector<std::string>& items, std::size_t most);

}  // namespace torpor::daemon
