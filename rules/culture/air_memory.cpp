#include "rules/culture/air_memory.h"

#include <algorithm>

#include "rules/culture/air_sample.h"

namespace torpor::rules::culture {
namespace {

constexpr double kLeastSeason = 240.0;  // h: ten days

// Month of the year, 0-11, of the civil date in UTC.
std::size_t month_of(Instant when) {
  const std::chrono::year_month_day date(std::chrono::floor<std::chrono::days>(when));
  return static_cast<unsigned>(date.month()) - 1;
}

}  // namespace

std::array<double, kGuilds> warmth_at(double contents, const Setting& setting) {
  std::array<double, kGuilds> warmth{};
  for (std::size_t g = 0; g < kGuilds; ++g) {
    const GuildLimits& guild = setting.guilds[g];
    warmth[g] = cardinal_temperature(contents, guild.t_min, guild.t_opt, guild.t_max);
  }
  return warmth;
}

Stretch steady_air(Celsius temperature, std::optional<Percent> humidity, const Setting& setting) {
  Stretch steady;
  steady.contents = temperature.value();
  steady.air = temperature.value();
  steady.contents_saturation = saturation_at(temperature.value());
  steady.air_saturation = steady.contents_saturation;
  steady.covered_share = humidity ? 1.0 : 0.0;
  if (humidity) steady.vapour = humidity->value() / 100.0 * steady.air_saturation;
  steady.warmth = warmth_at(temperature.value(), setting);
  return steady;
}

void AirMemory::remember(const AirHour& hour, Instant end) {
  hours_[static_cast<std::size_t>(next_)] = hour;
  next_ = (next_ + 1) % kWeek;
  count_ = std::min<std::uint64_t>(count_ + 1, kWeek);
  Month& month = months_[month_of(end)];
  month.hours += 1.0;
  month.air += static_cast<double>(hour.air);
  if (hour.humid) {
    month.humid_hours += 1.0;
    month.vapour += static_cast<double>(hour.vapour);
    month.saturation += static_cast<double>(hour.saturation);
  }
}

bool AirMemory::knows_humidity() const {
  for (std::size_t i = 0; i < known(); ++i) {
    if (back(i).humid) return true;
  }
  return false;
}

double AirMemory::last_day() const {
  const std::size_t n = std::min<std::size_t>(24, known());
  double sum = 0.0;
  for (std::size_t i = 0; i < n; ++i) sum += static_cast<double>(back(i).air);
  return sum / static_cast<double>(n);
}

Stretch AirMemory::recent(std::size_t hours, const Setting& setting, double warmer) const {
  const std::size_t n = std::min(hours, known());
  Stretch mean;
  mean.contents = 0.0;
  mean.air = 0.0;
  double humid = 0.0;
  for (std::size_t i = 0; i < n; ++i) {
    const AirHour& hour = back(i);
    const double contents = static_cast<double>(hour.contents) + warmer;
    mean.contents += contents;
    mean.contents_saturation += saturation_at(contents);
    mean.air += static_cast<double>(hour.air);
    mean.air_saturation += static_cast<double>(hour.saturation);
    if (hour.humid) {
      mean.vapour += static_cast<double>(hour.vapour);
      humid += 1.0;
    }
    const auto warmth = warmth_at(contents, setting);
    for (std::size_t g = 0; g < kGuilds; ++g) mean.warmth[g] += warmth[g];
  }
  const double each = 1.0 / static_cast<double>(n);
  mean.contents *= each;
  mean.contents_saturation *= each;
  mean.air *= each;
  mean.air_saturation *= each;
  for (double& warmth : mean.warmth) warmth *= each;
  // Hours without humidity say nothing against those with it.
  mean.covered_share = humid > 0.0 ? 1.0 : 0.0;
  if (humid > 0.0) mean.vapour /= humid;
  return mean;
}

std::optional<Stretch> AirMemory::season(Instant when, const Setting& setting) const {
  const Month& month = months_[month_of(when)];
  if (month.hours < kLeastSeason || month.humid_hours < kLeastSeason) return std::nullopt;
  Stretch mean = steady_air(Celsius(month.air / month.hours), std::nullopt, setting);
  mean.air_saturation = month.saturation / month.humid_hours;
  mean.contents_saturation = mean.air_saturation;
  mean.vapour = month.vapour / month.humid_hours;
  mean.covered_share = 1.0;
  return mean;
}

}  // namespace torpor::rules::culture
