// A little curve in one line of text: a block character for each value.
#pragma once

#include <optional>
#include <span>
#include <string>

namespace torpor::daemon {

// Eight heights from `low` to `high`; values beyond are drawn at the edge, unknown ones as a blank.
// Unicode blocks, or the digits 1 to 8 where the terminal cannot show them. Precondition: low <
// high.
[[nodiscard]] std::string sparkline(std::span<const std::optional<double>> values, double low,
                                    double high, bool utf8);

}  // namespace torpor::daemon
