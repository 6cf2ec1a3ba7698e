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
    static_cast<std::size_t>(RuleQuantity::time_since_look) -
    static_cast<std::size_t>(RuleQuantity::jar_temperature) + 1;

struct JarFigures {
  Instant at;
  std::array<double, kModelQuantities> values{};  // canonical units; NaN: unknown
  // What durations of its own count from: see origin().
  std::optional<Instant> open_since;  // opened, and not covered since
  Instant closed_at, looked_at;
  // When time to wake was last worked out and how warm the contents were: it costs as much as
  // everything else together a hundred times over.
  Instant forecast_at;
  double forecast_temperature = 0.0;

  // NaN: unknown. Precondition: no duration that origin() knows.
  [[nodiscard]] double value(RuleQuantity quantity) const;
  // Of a quantity that counts from a moment on, that moment, or nothing where
  // it is 0. nullopt: another quantity.
  struct Origin {
    std::optional<Instant> from;
  };
  [[nodiscard]] std::optional<Origin> origin(RuleQuantity quantity) const;
};

// The figures at model.at(). `before`: those of the look before, whose time to wake is carried on
// where nothing has happened that would move it; nullptr: none, or something was told.
[[nodiscard]] JarFigures figures_of(const culture::JarModel& model, const JarFigures* before);

}  // namespace torpor::rules
