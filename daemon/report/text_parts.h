// Pieces that the texts of lists and of one jar share.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "daemon/report/table.h"
#include "daemon/report/text.h"

namespace torpor::daemon {

// "18.2", or "-" where unknown.
template <class Tag>
[[nodiscard]] std::string figure(const std::optional<Amount<Tag>>& amount, int decimals);
[[nodiscard]] std::string figure_text(std::optional<double> value, int decimals);
template <class Tag>
std::string figure(const std::optional<Amount<Tag>>& amount, int decimals) {
  return figure_text(amount ? std::optional(amount->value()) : std::nullopt, decimals);
}

// Wrapped to the width, every line indented by `indent` blanks and the first one begun with `lead`,
// which must be at most as wide. Made printable here. Each line ended.
[[nodiscard]] std::string paragraph(std::string_view text, int indent, int width,
                                    std::string_view lead = "");

[[nodiscard]] Paint state_paint(rules::culture::State state);
[[nodiscard]] Paint urgency_paint(const rules::Alert& alert);

// One alert as a block of lines; remedies and reason only with `whole`.
[[nodiscard]] std::string alert_block(const AlertView& view, bool whole,
                                      const TextContext& context);

}  // namespace torpor::daemon
