// A mistake in a file a person wrote: where it is and what to do about it. Printed by the daemon as
// FILE:LINE:COL: message, followed by the line and a caret.
#pragma once

#include <string>
#include <vector>

namespace torpor::config {

struct Mark {  // 1-based; 0: the file as a whole
  int line = 0;
  int column = 0;  // in characters, not bytes
  friend bool operator==(const Mark&, const Mark&) = default;
};

struct Fault {
  std::string file;
  Mark at;
  std::string message;      // what was found, what was expected, the nearest known word
  std::string source_line;  // the line's text for the caret; may be empty
  friend bool operator==(const Fault&, const Fault&) = default;
};

// "rules.yaml:4:11: ..." and, where the source line is known, that line and a caret under the
// column. No trailing newline.
[[nodiscard]] std::string to_text(const Fault& fault);

// The known word nearest to `word` by edit distance (adjacent swaps count one), if near enough to
// be a slip of the keyboard.
[[nodiscard]] std::string nearest_word(const std::string& word,
                                       const std::vector<std::string>& known);

}  // namespace torpor::config
