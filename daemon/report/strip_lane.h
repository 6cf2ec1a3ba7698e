// Parts of the strip chart: the time axis as shares of its width, and lanes in which a value is
// drawn against it. For the .cpp files that draw.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "daemon/report/markup.h"
#include "sensors/reading.h"

namespace torpor::daemon {

// Where an instant lies between the ends.
class TimeScale {
 public:
  // Precondition: from < to.
  TimeScale(Instant from, Instant to) : from_(from), to_(to) {}
  [[nodiscard]] double share(Instant at) const;         // 0 to 1, clamped
  [[nodiscard]] std::string percent(Instant at) const;  // "37.25%", for SVG lengths
  [[nodiscard]] std::string width(Instant from, Instant to) const;
  [[nodiscard]] double x(Instant at) const { return share(at) * kWidth; }
  [[nodiscard]] Instant from() const { return from_; }
  [[nodiscard]] Instant to() const { return to_; }

  static constexpr double kWidth = 1000.0;  // of the stretched parts' own coordinates

 private:
  Instant from_, to_;
};
[[nodiscard]] std::string percent_text(double share);

// One value's strip: `top` and `height` in pixels, `low` to `high` in its unit.
struct Lane {
  double top, height;
  double low, high;
  [[nodiscard]] double y(double value) const;  // in pixels from the lane's top, clamped
  [[nodiscard]] bool shows(double value) const { return value >= low && value <= high; }
};

struct BandPoint {
  Instant at;
  double low = 0.0, high = 0.0;
};
// Points without a gap between them.
using Run = std::vector<BandPoint>;

// The area between low and high, and one line along `high` of points whose low is their high.
[[nodiscard]] std::string area_path(const Run& run, const TimeScale& scale, const Lane& lane);
[[nodiscard]] std::string line_path(const Run& run, const TimeScale& scale, const Lane& lane);

// Words stand on the lane's title line and figures in the margin left of it, so that no curve runs
// through them.
struct LaneTitle {
  std::string_view title;
  std::string note;            // at the right end of the title's line, about the limits
  std::vector<double> limits;  // drawn by draw_limits(); no ruling's figure stands beside theirs
  int decimals = 0;            // of the figures
  double step = 1.0;           // between rulings, in its unit
};
// The lane's frame, its rulings with their figures, and its title.
void draw_rulings(Markup& page, const Lane& lane, const LaneTitle& title);
void draw_limits(Markup& page, const Lane& lane, const LaneTitle& title);

// A step of 1, 2 or 5 times a power of ten that rules [low, high] into at most `lines` parts.
[[nodiscard]] double round_step(double low, double high, int lines);

}  // namespace torpor::daemon
