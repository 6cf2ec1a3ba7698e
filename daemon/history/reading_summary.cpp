#include "daemon/history/reading_summary.h"

#include <algorithm>

namespace torpor::daemon {

void ReadingSummary::add(const Reading& reading) {
  ++readings;
  if (!first_measured) first_measured = reading.measured_at;
  last_measured = reading.measured_at;
  if (!reading.trusted()) return;
  const Extreme here{reading.value(), reading.measured_at};
  ++trusted;
  sum += here.value;
  if (!first) first = lowest = highest = here;
  last = here;
  if (here.value < lowest->value) lowest = here;
  if (here.value > highest->value) highest = here;
}

void ReadingSummary::add(const ReadingSummary& later) {
  readings += later.readings;
  trusted += later.trusted;
  sum += later.sum;
  if (!first_measured) first_measured = later.first_measured;
  if (later.last_measured) last_measured = later.last_measured;
  if (!later.first) return;
  if (!first) first = later.first;
  last = later.last;
  if (!lowest || later.lowest->value < lowest->value) lowest = later.lowest;
  if (!highest || later.highest->value > highest->value) highest = later.highest;
}

std::vector<ReadingSummary::Extreme> chart_points(const ReadingSummary& bucket) {
  std::vector<ReadingSummary::Extreme> points;
  for (const auto& point : {bucket.first, bucket.lowest, bucket.highest, bucket.last}) {
    if (point) points.push_back(*point);
  }
  std::ranges::sort(points, {}, &ReadingSummary::Extreme::at);
  const auto again = std::ranges::unique(points, {}, &ReadingSummary::Extreme::at);
  points.erase(again.begin(), again.end());
  return points;
}

BucketSummaries::BucketSummaries(Instant from, Instant to, Duration width)
    : from_(from), to_(to), width_(width) {
  if (from < to) buckets_.resize(static_cast<std::size_t>((to - from - Duration(1)) / width) + 1);
}

bool BucketSummaries::hold_together(Instant from, Instant to) const {
  return from_ <= from && from < to && to <= to_ &&
         (from - from_) / width_ == (to - Duration(1) - from_) / width_;
}

}  // namespace torpor::daemon
