#include "daemon/report/duration_words.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>

namespace torpor::daemon {

std::string in_words(Duration duration) {
  struct Step {
    std::int64_t seconds;
    std::string_view one, many;
  };
  static constexpr std::array<Step, 4> kSteps = {{{86400, "day", "days"},
                                                  {3600, "hour", "hours"},
                                                  {60, "minute", "minutes"},
                                                  {1, "second", "seconds"}}};
  const std::int64_t seconds =
      std::max<std::int64_t>(0, std::chrono::floor<std::chrono::seconds>(duration).count());
  for (const Step& step : kSteps) {
    if (seconds >= 2 * step.seconds) return fmt::format("{} {}", seconds / step.seconds, step.many);
  }
  return seconds == 1 ? "1 second" : "0 seconds";
}

}  // namespace torpor::daemon
