// A day of a jar's life in short: what reports of months and years are put together from. Days that
// are over are stored; the bytes are this file's.
#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/ledger/exposure.h"
#include "rules/culture/jar_model.h"

namespace torpor::daemon {

// The jar's own figures at one moment of its life, for curves.
struct LifePoint {
  Instant at;
  std::optional<rules::culture::Ensemble> surface_activity, body_activity, wake_progress_percent;
  friend bool operator==(const LifePoint&, const LifePoint&) = default;
};
[[nodiscard]] LifePoint life_point(const rules::culture::JarModel& model);

// Half a day is the finest that is shown of a long time.
inline constexpr Duration kHalfDay = std::chrono::hours(12);
// Steps kept of each: both extremes of both quantities, the first and the last (thin()).
inline constexpr std::size_t kStepsOfHalfDay = 6;

struct HalfDay {  // [from, to), before or after noon (UTC)
  Instant from, to;
  Duration covered{};
  std::vector<ExposureStep> steps;  // at most kStepsOfHalfDay
  friend bool operator==(const HalfDay&, const HalfDay&) = default;
};

struct JarDay {  // [from, to), within one day (UTC)
  Instant from, to;
  ExposureTotals air;
  std::vector<HalfDay> halves;  // one or two
  LifePoint end;                // at `to`; a jar not closed yet or retired is as it was then
  friend bool operator==(const JarDay&, const JarDay&) = default;
};

// `identity`: JarModel::identity() of the model that was stepped.
[[nodiscard]] std::string to_bytes(const JarDay& day, std::uint64_t identity);
// nullopt: of another identity or version, or damaged: to be worked out anew.
[[nodiscard]] std::optional<JarDay> jar_day_of(std::string_view bytes, std::uint64_t identity);

}  // namespace torpor::daemon
