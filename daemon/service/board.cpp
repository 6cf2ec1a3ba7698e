#include "daemon/service/board.h"

#include <cmath>

namespace torpor::daemon {
namespace {

constexpr double kStep = 1.0, kFineStep = 0.1;  // %
constexpr double kFineBelow = 10.0;             // %

}  // namespace

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

}  // namespace torpor::daemon
