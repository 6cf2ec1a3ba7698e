// The quantities that conditions may name, in one table: by scope and stable name, with dimension,
// possible range and margin.
#pragma once

#include <cstdint>
#include <span>
#include <string_view>

#include "rules/book/condition.h"
#include "rules/book/units.h"

namespace torpor::rules {

enum class RuleQuantity : std::uint8_t {
  temperature,
  humidity,
  dew_point,
  absolute_humidity,
  vapour_pressure,
  jar_temperature,
  self_heating,
  outer_dew_margin,
  inner_dew_margin,
  surface_activity,
  body_activity,
  water_gained,
  water_buffer,
  wake_progress,
  slow_work,
  time_to_wake,
  sugar_shortfall,
  kinetic_temperature,
  time_since_opened,
  waking_signs,
  gas_tight_lid,
  age,
  time_since_look,
  time_since_reading,
  spread,
  humidity_spread,
  disagreement,
  humidity_disagreement,
  battery,
  time_stuck,
  time_disagreeing,
  time_drifting,
  doubted_readings,
  time_since_broker,
  disk_free,
  clock_step,
  spoiled,
};

// Who supplies its value.
enum class Source : std::uint8_t {
  air,           // what the sensors of a place or jar say
  model,         // the jar's model, read off its figures
  forecast,      // the model carried forward
  telling,       // the time since something was told of the jar
  spoilage,      // what was found in the jar or its line
  silence,       // the time since a sensor spoke
  judges,        // who judge the sensors
  judges_since,  // likewise, a time since when
  link,          // the connection to the broker
  disk,          // the board's disk
  clock,         // the board's clock
};

struct RuleQuantityFacts {
  RuleQuantity quantity;
  Scope scope;
  Source source;
  std::string_view name;  // stable: rule books hold it
  Dimension dimension;
  double lowest, highest;  // canonical; a limit outside could never, or always, be met
  double margin;           // canonical; how far past its limit a value must be to ease by default
};

// One row for each scope and name: temperature stands under place and under jar.
[[nodiscard]] std::span<const RuleQuantityFacts> rule_quantities();
// nullptr: no such quantity in this scope.
[[nodiscard]] const RuleQuantityFacts* find_rule_quantity(Scope scope, RuleQuantity quantity);
[[nodiscard]] const RuleQuantityFacts* find_rule_quantity(Scope scope, std::string_view name);
// The row of the first scope that has it. Precondition: `quantity` is of the enum.
[[nodiscard]] const RuleQuantityFacts& facts(RuleQuantity quantity);
// Precondition as of facts().
[[nodiscard]] Source source_of(RuleQuantity quantity);
[[nodiscard]] std::string_view scope_name(Scope scope);  // "place" "jar" "sensor" "service"

}  // namespace torpor::rules
