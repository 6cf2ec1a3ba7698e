// The units a person reads. Figures are kept, computed and worded in degC, K and grams everywhere;
// whatever shows them to a person lets them pass through here, and nothing else converts.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "config/settings.h"
#include "sensors/quantity.h"

namespace torpor::daemon {

class PersonUnits {
 public:
  explicit PersonUnits(const config::ShownUnits& units = {}) : units_(units) {}

  // For axes and columns, which name the unit apart: "°C" or "°F".
  [[nodiscard]] std::string_view temperature_symbol() const;
  [[nodiscard]] std::string_view weight_symbol() const;  // "g" or "oz"
  [[nodiscard]] double temperature(Celsius temperature) const;
  [[nodiscard]] std::optional<double> temperature(std::optional<Celsius> temperature) const;

  // A sentence or figure of ours with its amounts in these units: "27.5 °C", "a rise of 5 K",
  // "about 260 g", "13 g (0 to 17)", "15 to 20 °C". An ounce has one decimal more than its grams.
  // What stands in double quotes is somebody's own words and stays, as does "9.6 g/m³".
  [[nodiscard]] std::string in(std::string_view sentence) const;

 private:
  config::ShownUnits units_;
};

}  // namespace torpor::daemon
