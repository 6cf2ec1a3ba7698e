#include "daemon/report/sparkline.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>

namespace torpor::daemon {

std::string sparkline(std::span<const std::optional<double>> values, double low, double high,
                      bool utf8) {
  // U+2581 to U+2588, lower one eighth block to full block.
  static constexpr std::array<std::string_view, 8> kBlocks = {
      "\u2581", "\u2582", "\u2583", "\u2584", "\u2585", "\u2586", "\u2587", "\u2588"};
  static constexpr std::array<std::string_view, 8> kDigits = {"1", "2", "3", "4",
                                                              "5", "6", "7", "8"};
  std::string line;
  for (const std::optional<double>& value : values) {
    if (!value) {
      line += ' ';
      continue;
    }
    const double share = std::clamp((*value - low) / (high - low), 0.0, 1.0);
    const auto height = static_cast<std::size_t>(std::lround(share * 7.0));
    line += utf8 ? kBlocks.at(height) : kDigits.at(height);
  }
  return line;
}

}  // namespace torpor::daemon
