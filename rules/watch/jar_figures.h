// A jar's figures as rules compare them: one value each, of the likely member, at one look.
#pragma once

#include <array>
#include <optional>

#include "rules/book/rule_quantity.h"
#include "rules/culture/jar_model.h"

namespace torpor::rules {

// True for the quantities that the jar's model supplies, not its air.
[[nodiscard]] bool is_of_model(RuleQuantity quantity);

inline constexpr std::size_t kModelQuantities =
    static_cast<std::size_t>(RuleQuantity::waking_signs) -
    static_cast<std::size_t>(RuleQuantity::jar_temperature) + 1;

struct JarFigures {
  Instant at;
  std::array<double, kModelQuantities> values{};  // canonical units; NaN: unknown
  std::optional<Instant> open_since;              // opened, and not covered since: see value()
  // When time to wake was last worked out and how warm the contents were: it costs as much as
  // everything else together a hundred times over.
  Instant forecast_at;
  double forecast_temperature = 0.0;

  // NaN: unknown. Of time since opened: see open_since.
  [[nodiscard]] double value(RuleQuantity quantity) const;
};

// The figures at model.at(). `before`: those of the look before, whose time to wake is carried on
// where nothing has happened that would move it; nullptr: none, or something was told.
[[nodiscard]] JarFigures figures_of(const culture::JarModel& model, const JarFigures* before);

}  // namespace torpor::rules
