// Collectors for a walk over a jar's exposure (StoodAir::walk visits every step once, in order):
// the rows that are shown and the ranges per week. Memory is bounded by what is shown, not by the
// length of the history.
#pragma once

#include <chrono>
#include <optional>
#include <vector>

#include "daemon/report/views.h"

namespace torpor::daemon {

// Rows that `jar ID` shows at most where nobody asked for an interval: enough for any screen.
inline constexpr std::size_t kShownRows = 2000;
// Most rows of an asked interval: minutes for a year. More is a slip of the keyboard.
inline constexpr std::int64_t kMostRows = 600'000;

// Every step as one row, thinned to kShownRows keeping extremes where there are more.
class StepRows {
 public:
  // Precondition: from <= to.
  StepRows(Instant from, Instant to);
  void add(const ExposureStep& step);
  [[nodiscard]] std::vector<ExposureRow> take();

 private:
  void close_slice();

  Instant from_;
  Duration slice_{};  // width of the slices that are thinned one by one
  std::int64_t slice_number_ = 0;
  bool all_fit_ = true;
  std::vector<ExposureStep> all_;  // as long as they fit
  std::vector<ExposureStep> in_slice_;
  std::vector<ExposureStep> thinned_;  // of the slices before
};

// One row for every `every` counted from `from`; also broken where the jar was moved.
class IntervalRows {
 public:
  // Precondition: every > 0.
  IntervalRows(Instant from, Duration every);
  void add(const ExposureStep& step);
  [[nodiscard]] std::vector<ExposureRow> take();

 private:
  // Sums weighted with seconds.
  struct Sums {
    double temperature = 0.0, temperature_s = 0.0;
    double humidity = 0.0, vapour_pressure = 0.0, humidity_s = 0.0;
  };
  void add_piece(const ExposureStep& piece);
  void close_row();

  Instant from_;
  Duration every_;
  std::optional<ExposureRow> open_;
  Sums sums_;
  std::vector<ExposureRow> rows_;
};

// Lowest and highest for every `width` counted from `grid`, the first one cut at `from` and the
// last one at `to`.
class RangeRows {
 public:
  // Precondition: width > 0, grid <= from <= to.
  RangeRows(Instant from, Instant to, Duration width, Instant grid);
  // Counted from the midnight (UTC) before `from`.
  RangeRows(Instant from, Instant to, Duration width)
      : RangeRows(from, to, width, std::chrono::floor<std::chrono::days>(from)) {}
  void add(const ExposureStep& step);
  // Precondition: it lies within one range. It does if `width` is whole half-days from midnight.
  void add(const HalfDay& half);
  [[nodiscard]] std::vector<ExposureRange> take();

 private:
  [[nodiscard]] std::size_t index_of(Instant at) const;

  Duration width_;
  Instant grid_;
  std::vector<ExposureRange> ranges_;
  std::vector<double> covered_s_;
};

}  // namespace torpor::daemon
