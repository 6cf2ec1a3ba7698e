// What the service stands on: how much of the history's disk is free. Asked once a minute; says
// only what has changed. The board's clocks: board_clock.h.
#pragma once

#include <filesystem>
#include <optional>
#include <utility>

#include "sensors/quantity.h"

namespace torpor::daemon {

class Board {
 public:
  // `folder`: on the disk in question.
  explicit Board(std::filesystem::path folder) : folder_(std::move(folder)) {}

  // What is free to write, if it is the first time, has changed by a hundredth of the disk, or by a
  // thousandth where little is left. nullopt, too: the disk does not say.
  [[nodiscard]] std::optional<Percent> changed_disk();

 private:
  std::filesystem::path folder_;
  std::optional<double> said_;  // %
};

}  // namespace torpor::daemon
