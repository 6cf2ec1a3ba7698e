// `torpor sugar`: how much sugar puts a rice to sleep, or what a given amount does. Needs no
// configuration: the built-in culture profile.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/command/failure.h"
#include "rules/culture/verdict.h"

namespace torpor::daemon {

// As typed; empty: not said.
struct SugarQuestion {
  std::string rice;    // colonised rice as it will be mixed
  std::string raw;     // the dry rice it was cooked from
  std::string cooked;  // dry, firm or soft, where raw is not known
  std::string sugar;   // asks what this much gives
  std::string kind;    // white, brown or raw; brown
  std::string temperature;
};

struct SugarView {
  double rice_g = 0.0;
  std::string kind;
  double temperature_degC = 0.0;
  bool asked_other_way = false;  // by --sugar
  rules::culture::Ensemble sugar_g, sugar_to_rice_ratio, water_activity, water_buffer_g;
  std::optional<rules::culture::Ensemble> sugar_shortfall_g;  // only by --sugar
  std::string advice;  // as the service says it to who mixes: rules/culture/mixing.h
  std::vector<std::string> assumptions;
};

[[nodiscard]] tl::expected<SugarView, Failure> answer_sugar(const SugarQuestion& question);
[[nodiscard]] std::string sugar_json(const SugarView& view);
[[nodiscard]] std::string sugar_text(const SugarView& view);

}  // namespace torpor::daemon
