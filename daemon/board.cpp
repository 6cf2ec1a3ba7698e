#include "daemon/board.h"

#include <cmath>
#include <utility>

namespace torpor::daemon {
namespace {

constexpr double kStep = 1.0, kFineStep = 0.1;  // %
constexpr double kFineBelow = 10.0;             // %

}  // namespace

Board::Board(std::filesystem::path folder, Wall wall, Steady steady)
    : folder_(std::move(folder)), wall_(wall), steady_(steady) {}

std::optional<Percent> Board::changed_disk() {
  std::error_code error;
  const auto space = std::filesystem::space(folder_, error);
  if (error || space.capacity == 0) return std::nullopt;
  const double free =
      100.0 * static_cast<double>(space.available) / static_cast<double>(space.capacity);
  const double step = free < kFineBelow ? kFineStep : kStep;
  if (said_ && std::abs(free - *said_) < step) return std::nullopt;
  said_ = free;
  return Percent(free);
}

std::optional<Duration> Board::clock_step(Wall wall, Steady steady) {
  const auto by = std::chrono::duration_cast<Duration>((wall - wall_) - (steady - steady_));
  wall_ = wall;
  steady_ = steady;
  return std::chrono::abs(by) < kLeastStep ? std::nullopt : std::optional(by);
}

}  // namespace torpor::daemon
