// A jar's figures as rules compare them: one value each, of the likely member, at one look.
#pragma once

#include <array>
#include <limits>
#include <optional>

#include "rules/book/rule_quantity_rows.h"
#include "rules/culture/jar_model.h"

namespace torpor::rules {

// Quantities that a look at the jar's model supplies; each has its place in JarFigures::values.
inline constexpr std::size_t kModelQuantities = count_from({Source::model, Source::forecast});
[[nodiscard]] const std::array<RuleQuantity, kModelQuantities>& model_quantities();

struct JarFigures {
  Instant at;
  std::array<double, kModelQuantities> values = none_known();  // canonical units; NaN: unknown
  // What durations count from that are told: see origin().
  std::optional<Instant> open_since;  // opened, and not covered since
  Instant closed_at, looked_at;
  // When time to wake was last worked out and how warm the contents were: it costs as much as
  // everything else together a hundred times over.
  Instant forecast_at;
  double forecast_temperature = 0.0;

  // NaN: unknown. Precondition: one of model_quantities().
  [[nodiscard]] double value(RuleQuantity quantity) const;
  void put(RuleQuantity quantity, double value);
  // The moment that a quantity of Source::telling counts from; nullopt: it is 0.
  [[nodiscard]] std::optional<Instant> origin(RuleQuantity quantity) const;

 private:
  static constexpr std::array<double, kModelQuantities> none_known() {
    std::array<double, kModelQuantities> values{};
    for (double& value : values) value = std::numeric_limits<double>::quiet_NaN();
    return values;
  }
};

// The figures at model.at(). `before`: those of the look before, whose time to wake is carried on
// where nothing has happened that would move it; nullptr: none, or something was told.
[[nodiscard]] JarFigures figures_of(const culture::JarModel& model, const JarFigures* before);

}  // namespace torpor::rules
