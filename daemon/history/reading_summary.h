// What can be said of a stretch of readings without reading them again: how many, their ends and
// their extremes. Values are in the quantity's canonical unit and of trusted readings only.
#pragma once

#include <cstdint>
#include <optional>
#include <utility>
#include <vector>

#include "sensors/reading.h"

namespace torpor::daemon {

struct ReadingSummary {
  struct Extreme {
    double value = 0.0;
    Instant at;
    friend bool operator==(const Extreme&, const Extreme&) = default;
  };
  std::uint64_t readings = 0;
  std::uint64_t trusted = 0;
  double sum = 0.0;                                      // of the trusted
  std::optional<Extreme> first, last, lowest, highest;   // nullopt: none is trusted
  std::optional<Instant> first_measured, last_measured;  // trusted or not

  // In order of measured-at.
  void add(const Reading& reading);
  void add(const ReadingSummary& later);
  friend bool operator==(const ReadingSummary&, const ReadingSummary&) = default;
};

// What a chart draws of a bucket: first, lowest, highest and last, in order of time, each moment
// once. No spike is lost.
[[nodiscard]] std::vector<ReadingSummary::Extreme> chart_points(const ReadingSummary& bucket);

// Readings, and summaries of whole stretches, each in the summary of its bucket: those of `width`
// from `from` on, the last one cut at `to`.
class BucketSummaries {
 public:
  // Precondition: width > 0.
  BucketSummaries(Instant from, Instant to, Duration width);

  // Whether one bucket holds all of [from, to).
  [[nodiscard]] bool hold_together(Instant from, Instant to) const;
  // In order of time, within [from, to).
  void add(const Reading& reading) { of(reading.measured_at).add(reading); }
  // Precondition: hold_together() its stretch, which begins at `from`.
  void add(Instant from, const ReadingSummary& stretch) { of(from).add(stretch); }
  [[nodiscard]] std::vector<ReadingSummary> take() { return std::move(buckets_); }

 private:
  ReadingSummary& of(Instant at) {
    return buckets_[static_cast<std::size_t>((at - from_) / width_)];
  }

  const Instant from_, to_;
  const Duration width_;
  std::vector<ReadingSummary> buckets_;
};

}  // namespace torpor::daemon
