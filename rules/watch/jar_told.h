// What was told of a jar, done to it or read by a probe on it, with its time: what its model takes
// beside the air. As JSON in the engine's snapshot.
#pragma once

#include <optional>
#include <variant>

#include <nlohmann/json_fwd.hpp>

#include "rules/culture/act.h"
#include "rules/culture/jar_model.h"
#include "rules/watch/layout.h"
#include "sensors/reading.h"

namespace torpor::rules {

struct ProbeReading {
  culture::ProbeSeat seat = culture::ProbeSeat::culture;
  Celsius temperature;
  friend bool operator==(const ProbeReading&, const ProbeReading&) = default;
};

struct JarTold {
  Instant at;
  std::variant<culture::Act, culture::Observation, ProbeReading> what;
  bool by_sensor = false;  // it speaks too often for a look at the jar each time
  friend bool operator==(const JarTold&, const JarTold&) = default;
};

// What a sensor on a jar tells of it; nullopt: nothing, as a humidity beside a probe.
[[nodiscard]] std::optional<JarTold> told_by(const SensorSpec& sensor, const Reading& reading);
// The same surface read again within the hour says nothing new of it.
inline constexpr Duration kHeadspaceEvery = std::chrono::hours(1);

// Precondition: the model has been stepped to told.at.
void take_in(culture::JarModel& model, const JarTold& told);

// told_from_json(to_json(t)) == t. Throws nlohmann::json::exception or std::out_of_range on
// anything else.
[[nodiscard]] nlohmann::json to_json(const JarTold& told);
[[nodiscard]] JarTold told_from_json(const nlohmann::json& json);
[[nodiscard]] nlohmann::json to_json(const culture::JarRecipe& recipe);
[[nodiscard]] culture::JarRecipe recipe_from_json(const nlohmann::json& json);

}  // namespace torpor::rules
