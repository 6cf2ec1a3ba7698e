#include "daemon/report/exposure_rows.h"

#include <algorithm>
#include <utility>

#include "rules/air/psychrometrics.h"

namespace torpor::daemon {
namespace {

// What thin() keeps of one slice: first and last, lowest and highest temperature and humidity.
constexpr std::size_t kKeptOfSlice = 6;
constexpr std::int64_t kSlices = kShownRows / kKeptOfSlice;

double seconds(Duration duration) { return std::chrono::duration<double>(duration).count(); }

bool covered(const ExposureStep& step) { return step.humidity && step.humid_temperature; }

std::optional<Celsius> dew_point_of(Pascal vapour_pressure) {
  if (vapour_pressure.value() <= 0) return std::nullopt;
  return rules::air::dew_point(vapour_pressure);
}

ExposureRow row_of(const ExposureStep& step) {
  ExposureRow row{
      step.from,        step.to,       step.place,  step.sensor, covered(step) ? 100.0 : 0.0,
      step.temperature, step.humidity, std::nullopt};
  if (covered(step)) {
    row.dew_point =
        dew_point_of(rules::air::vapour_pressure(*step.humid_temperature, *step.humidity));
  }
  return row;
}

template <class T>
void widen(std::optional<T>& lowest, std::optional<T>& highest, const std::optional<T>& value) {
  if (!value) return;
  if (!lowest || *value < *lowest) lowest = value;
  if (!highest || *value > *highest) highest = value;
}

void widen(ExposureRange& range, const ExposureStep& step) {
  widen(range.lowest_temperature, range.highest_temperature, step.temperature);
  widen(range.lowest_humidity, range.highest_humidity, step.humidity);
}

}  // namespace

StepRows::StepRows(Instant from, Instant to)
    : from_(from), slice_(std::max<Duration>((to - from) / kSlices, Duration(1))) {}

void StepRows::add(const ExposureStep& step) {
  if (all_fit_) {
    all_fit_ = all_.size() < kShownRows;
    if (all_fit_) {
      all_.push_back(step);
    } else {
      all_ = {};
    }
  }
  // The division rounds down, so the last few milliseconds may fall beyond the last slice.
  const std::int64_t number = std::min<std::int64_t>((step.from - from_) / slice_, kSlices - 1);
  if (number != slice_number_) close_slice();
  slice_number_ = number;
  in_slice_.push_back(step);
}

void StepRows::close_slice() {
  std::vector<ExposureStep> kept = thin(std::exchange(in_slice_, {}), kKeptOfSlice);
  std::move(kept.begin(), kept.end(), std::back_inserter(thinned_));
}

std::vector<ExposureRow> StepRows::take() {
  close_slice();
  std::vector<ExposureRow> rows;
  for (const ExposureStep& step : all_fit_ ? all_ : thinned_) rows.push_back(row_of(step));
  return rows;
}

IntervalRows::IntervalRows(Instant from, Duration every) : from_(from), every_(every) {}

void IntervalRows::add(const ExposureStep& step) {
  ExposureStep piece = step;
  while (piece.from < step.to) {
    const Instant end = from_ + ((piece.from - from_) / every_ + 1) * every_;
    piece.to = std::min(step.to, end);
    add_piece(piece);
    piece.from = piece.to;
  }
}

void IntervalRows::add_piece(const ExposureStep& piece) {
  const bool begins = open_ && (piece.from - from_) / every_ != (open_->from - from_) / every_;
  if (open_ && (begins || open_->place != piece.place)) close_row();
  if (!open_) {
    open_ = ExposureRow{};
    open_->from = piece.from;
    open_->place = piece.place;
  }
  open_->to = piece.to;
  if (open_->sensor.empty()) open_->sensor = piece.sensor;
  const double length = seconds(piece.to - piece.from);
  if (piece.temperature) {
    sums_.temperature += piece.temperature->value() * length;
    sums_.temperature_s += length;
  }
  if (covered(piece)) {
    sums_.humidity += piece.humidity->value() * length;
    // Dew points do not average; vapour pressures do.
    sums_.vapour_pressure +=
        rules::air::vapour_pressure(*piece.humid_temperature, *piece.humidity).value() * length;
    sums_.humidity_s += length;
  }
}

void IntervalRows::close_row() {
  ExposureRow row = *std::exchange(open_, std::nullopt);
  const Sums sums = std::exchange(sums_, {});
  if (sums.temperature_s > 0) row.temperature = Celsius(sums.temperature / sums.temperature_s);
  if (sums.humidity_s > 0) {
    row.humidity = Percent(sums.humidity / sums.humidity_s);
    row.dew_point = dew_point_of(Pascal(sums.vapour_pressure / sums.humidity_s));
  }
  row.coverage_percent = 100.0 * sums.humidity_s / seconds(row.to - row.from);
  rows_.push_back(std::move(row));
}

std::vector<ExposureRow> IntervalRows::take() {
  if (open_) close_row();
  return std::exchange(rows_, {});
}

RangeRows::RangeRows(Instant from, Instant to, Duration width, Instant grid)
    : width_(width), grid_(grid) {
  for (Instant at = from; at < to;) {
    ExposureRange range;
    range.from = at;
    range.to = std::min(grid + ((at - grid) / width + 1) * width, to);
    at = range.to;
    ranges_.push_back(range);
  }
  covered_s_.resize(ranges_.size());
}

std::size_t RangeRows::index_of(Instant at) const {
  const auto first = (ranges_.front().from - grid_) / width_;
  return static_cast<std::size_t>(std::max<std::int64_t>(0, (at - grid_) / width_ - first));
}

void RangeRows::add(const ExposureStep& step) {
  if (ranges_.empty()) return;
  for (auto i = index_of(step.from); i < ranges_.size() && ranges_[i].from < step.to; ++i) {
    ExposureRange& range = ranges_[i];
    widen(range, step);
    if (covered(step)) {
      covered_s_[i] += seconds(std::min(step.to, range.to) - std::max(step.from, range.from));
    }
  }
}

void RangeRows::add(const HalfDay& half) {
  if (ranges_.empty()) return;
  const std::size_t i = index_of(half.from);
  if (i >= ranges_.size()) return;
  for (const ExposureStep& step : half.steps) widen(ranges_[i], step);
  covered_s_[i] += seconds(half.covered);
}

std::vector<ExposureRange> RangeRows::take() {
  for (std::size_t i = 0; i < ranges_.size(); ++i) {
    ranges_[i].coverage_percent = 100.0 * covered_s_[i] / seconds(ranges_[i].to - ranges_[i].from);
  }
  return std::exchange(ranges_, {});
}

}  // namespace torpor::daemon
