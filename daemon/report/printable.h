// Text from outside made fit for a terminal or a table: names, origins and sentences may hold
// anything, also escape sequences that would act on the terminal that shows them.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace torpor::daemon {

// Control characters (C0, DEL, C1), line and paragraph separators, and marks that turn the
// direction of writing are shown as \n, \x1b or \u{202e}; bytes that are not UTF-8 as \xff. The
// result is UTF-8 and does nothing but print. Idempotent.
[[nodiscard]] std::string printable(std::string_view text);

// Columns that printable UTF-8 text takes: 2 for wide characters (East Asian, emoji), 0 for
// combining marks.
[[nodiscard]] int display_width(std::string_view text);

// Exactly `width` columns: padded on the right, or cut and ended by "~".
[[nodiscard]] std::string fit(std::string_view text, int width);
// As fit(), padded on the left; for figures.
[[nodiscard]] std::string fit_right(std::string_view text, int width);

// Lines of at most `width` columns, broken at spaces; a longer word is broken where it must.
// Never empty: "" gives one empty line. Precondition: width >= 2.
[[nodiscard]] std::vector<std::string> wrap(std::string_view text, int width);

}  // namespace torpor::daemon
