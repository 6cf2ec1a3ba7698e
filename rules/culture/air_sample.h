// The air one jar or a whole shelf stands in, held over an interval: checked once, worked out once,
// then shared by every jar there.
#pragma once

#include <optional>
#include <string>

#include <tl/expected.hpp>

#include "sensors/quantity.h"

namespace torpor::rules::culture {

// The model's range: psychrometrics hold from -20 to 60 degC.
inline constexpr double kColdestAir = -20.0;
inline constexpr double kHottestAir = 60.0;

// Saturation vapour pressure, Pa, at a temperature in degC.
[[nodiscard]] double saturation_at(double celsius);

// How far the air may be from what its sensor says, one standard deviation: of temperature in K, of
// relative humidity in %.
struct AirError {
  double temperature = 0.0;
  double humidity = 0.0;
  friend bool operator==(const AirError&, const AirError&) = default;
};

class Air {
 public:
  // Nobody speaks for the air.
  Air() = default;
  // Refuses a temperature outside -20 to 60 degC and a humidity outside 0-100 %, in words.
  [[nodiscard]] static tl::expected<Air, std::string> of(Celsius temperature,
                                                         std::optional<Percent> humidity,
                                                         AirError error = {});

  [[nodiscard]] bool has_temperature() const { return has_temperature_; }
  [[nodiscard]] bool has_humidity() const { return has_humidity_; }
  [[nodiscard]] double temperature() const { return temperature_; }        // degC
  [[nodiscard]] double vapour() const { return vapour_; }                  // Pa
  [[nodiscard]] double saturation() const { return saturation_; }          // Pa
  [[nodiscard]] double kinetic_weight() const { return kinetic_weight_; }  // see KineticMean
  [[nodiscard]] const AirError& error() const { return error_; }
  // The rest follows from temperature and vapour.
  friend bool operator==(const Air& a, const Air& b) {
    return a.temperature_ == b.temperature_ && a.vapour_ == b.vapour_ &&
           a.has_temperature_ == b.has_temperature_ && a.has_humidity_ == b.has_humidity_ &&
           a.error_ == b.error_;
  }

  template <class Archive>
  void fields(Archive& archive) {
    archive(temperature_);
    archive(vapour_);
    archive(saturation_);
    archive(kinetic_weight_);
    archive(has_temperature_);
    archive(has_humidity_);
    archive(error_.temperature);
    archive(error_.humidity);
  }

 private:
  double temperature_ = 0.0;
  double vapour_ = 0.0;
  double saturation_ = 0.0;
  double kinetic_weight_ = 0.0;
  bool has_temperature_ = false;
  bool has_humidity_ = false;
  AirError error_;
};

}  // namespace torpor::rules::culture
