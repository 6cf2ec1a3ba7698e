// What is said of one jar in every form of it, text or page: contents, vessel, the estimates with
// their ranges, cautions. Words only; nothing here is made printable or escaped.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "daemon/report/views.h"

namespace torpor::daemon {

// "glass of 3 l, mouth 11 cm, 1245 g empty"; empty: nothing was told.
[[nodiscard]] std::string vessel_words(const NewJar& made);
// "rice 1000 g, raw 545 g, sugar 700 g, topping 50 g"; empty: nothing was told.
[[nodiscard]] std::string contents_words(const NewJar& made);

// Whose air it stood in, one after the other: an empty sensor is nobody. From the rows of its
// exposure, so of a long life by the day.
struct Speaker {  // [from, to)
  Instant from, to;
  std::string sensor;
  friend bool operator==(const Speaker&, const Speaker&) = default;
};
[[nodiscard]] std::vector<Speaker> speakers_of(const JarHistoryView& view);

struct NamedFigure {
  std::string name, value;
};
// Every estimate that can be given, with its range: {"in the body", "0.840 (0.822 to 0.861)"}.
// Then the figures that cannot be known, each with its reason, all named "not known".
[[nodiscard]] std::vector<NamedFigure> estimate_rows(const JarView& view);

// The time to wake in as few letters as a column has: "3-7 weeks", "20+ d", "due", "not in sight",
// "-" where it is moot or unknown.
[[nodiscard]] std::string to_wake_words(const rules::Standing& standing);

// Whole sentences, the general ones first. Common practice, no source.
[[nodiscard]] std::vector<std::string_view> caution_sentences(const NewJar& made);

}  // namespace torpor::daemon
