// What the service stands on: how much of the history's disk is free, and whether the board's clock
// was set. Asked once a minute; says only what has changed.
#pragma once

#include <chrono>
#include <filesystem>
#include <optional>

#include "sensors/quantity.h"
#include "sensors/reading.h"

namespace torpor::daemon {

class Board {
 public:
  using Wall = std::chrono::system_clock::time_point;
  using Steady = std::chrono::steady_clock::time_point;

  // `folder`: on the disk in question. The times are of now.
  Board(std::filesystem::path folder, Wall wall, Steady steady);

  // What is free to write, if it is the first time, has changed by a hundredth of the disk, or by a
  // thousandth where little is left. nullopt, too: the disk does not say.
  [[nodiscard]] std::optional<Percent> changed_disk();
  // By how much the wall clock ran otherwise than time since it was last asked, from
  // kLeastStep on: below that it is drift, or a clock brought into line step by step.
  [[nodiscard]] std::optional<Duration> clock_step(Wall wall, Steady steady);
  static constexpr Duration kLeastStep = std::chrono::minutes(1);

 private:
  std::filesystem::path folder_;
  Wall wall_;
  Steady steady_;
  std::optional<double> said_;  // %
};

}  // namespace torpor::daemon
