// The air a jar had lately and in the seasons before, kept small: what "this air" means when the
// time to wake is worked out.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "rules/culture/member.h"
#include "sensors/reading.h"

namespace torpor::rules::culture {

// One hour (or a little less) in which the air's temperature was known.
struct AirHour {
  float air = 0.0F;         // degC, mean
  float contents = 0.0F;    // degC, mean
  float vapour = 0.0F;      // Pa, mean of the time its humidity was known
  float saturation = 0.0F;  // Pa, of the air
  bool humid = false;       // its humidity was known
};

class AirMemory {
 public:
  void remember(const AirHour& hour, Instant end);
  // The jar stands elsewhere now: what was here last week says nothing of there.
  void forget_recent() { count_ = 0; }
  [[nodiscard]] bool empty() const { return count_ == 0; }
  [[nodiscard]] bool knows_humidity() const;

  // Averages over the last `hours` remembered hours, at most a week's; the growth's temperature
  // factors are averaged hour by hour, for they are no straight lines. `warmer`: K the contents are
  // above what the air explains. Precondition: not empty.
  [[nodiscard]] Stretch recent(std::size_t hours, const Setting& setting, double warmer) const;
  // Mean temperature of the last day. Precondition: not empty.
  [[nodiscard]] double last_day() const;
  // The same month of earlier time; nullopt unless at least ten days of it were covered.
  [[nodiscard]] std::optional<Stretch> season(Instant when, const Setting& setting) const;

  template <class Archive>
  void fields(Archive& archive) {
    archive(next_);
    archive(count_);
    for (AirHour& hour : hours_) {
      archive(hour.air);
      archive(hour.contents);
      archive(hour.vapour);
      archive(hour.saturation);
      archive(hour.humid);
    }
    for (Month& month : months_) {
      archive(month.hours);
      archive(month.humid_hours);
      archive(month.air);
      archive(month.vapour);
      archive(month.saturation);
    }
  }

 private:
  static constexpr std::size_t kWeek = 168;
  struct Month {  // sums over hours
    double hours = 0.0, humid_hours = 0.0;
    double air = 0.0, vapour = 0.0, saturation = 0.0;
  };
  [[nodiscard]] std::size_t known() const { return static_cast<std::size_t>(count_); }
  [[nodiscard]] const AirHour& back(std::size_t i) const {
    return hours_[(static_cast<std::size_t>(next_) + kWeek - 1 - i) % kWeek];
  }

  std::array<AirHour, kWeek> hours_{};
  std::uint64_t next_ = 0;
  std::uint64_t count_ = 0;
  std::array<Month, 12> months_{};
};

// Growth's temperature factors of a setting at one temperature.
[[nodiscard]] std::array<double, kGuilds> warmth_at(double contents, const Setting& setting);
// A stretch of steady air, for "what if it stood there".
[[nodiscard]] Stretch steady_air(Celsius temperature, std::optional<Percent> humidity,
                                 const Setting& setting);

}  // namespace torpor::rules::culture
