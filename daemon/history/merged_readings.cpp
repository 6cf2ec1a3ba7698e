#include "daemon/history/merged_readings.h"

#include <algorithm>
#include <utility>

namespace torpor::daemon {
namespace {

class MergedCursor final : public ReadingCursor {
 public:
  MergedCursor(std::unique_ptr<ReadingCursor> rows, InboxReadings::Series::const_iterator begin,
               InboxReadings::Series::const_iterator end)
      : rows_(std::move(rows)), inbox_(begin), inbox_end_(end) {
    advance_row();
  }

  std::optional<Reading> next() override {
    const bool inbox_left = inbox_ != inbox_end_;
    if (!row_ && !inbox_left) return std::nullopt;
    const bool inbox_first = inbox_left && (!row_ || inbox_->first < row_->measured_at);
    if (inbox_first) return (inbox_++)->second;
    if (inbox_left && inbox_->first == row_->measured_at) ++inbox_;
    Reading reading = std::move(*row_);
    advance_row();
    return reading;
  }

 private:
  void advance_row() { row_ = rows_ ? rows_->next() : std::nullopt; }

  const std::unique_ptr<ReadingCursor> rows_;
  std::optional<Reading> row_;  // the next one of rows_
  InboxReadings::Series::const_iterator inbox_;
  const InboxReadings::Series::const_iterator inbox_end_;
};

class JoinedCursor final : public ReadingCursor {
 public:
  JoinedCursor(std::unique_ptr<ReadingCursor> kept, std::unique_ptr<ReadingCursor> other)
      : kept_(std::move(kept)), other_(std::move(other)) {
    next_kept_ = kept_->next();
    next_other_ = other_->next();
  }

  std::optional<Reading> next() override {
    if (!next_other_) return take(next_kept_, *kept_);
    if (!next_kept_ || next_other_->measured_at < next_kept_->measured_at) {
      return take(next_other_, *other_);
    }
    if (next_other_->measured_at == next_kept_->measured_at) next_other_ = other_->next();
    return take(next_kept_, *kept_);
  }

 private:
  static std::optional<Reading> take(std::optional<Reading>& next, ReadingCursor& cursor) {
    std::optional<Reading> taken = std::move(next);
    if (taken) next = cursor.next();
    return taken;
  }

  const std::unique_ptr<ReadingCursor> kept_;
  const std::unique_ptr<ReadingCursor> other_;
  std::optional<Reading> next_kept_;
  std::optional<Reading> next_other_;
};

}  // namespace

InboxReadings::InboxReadings(const std::vector<InboxRecord>& records, std::uint64_t folded) {
  for (const InboxRecord& record : records) {
    const auto* const readings = std::get_if<ReadingsRecord>(&record.payload);
    if (readings == nullptr || record.sequence <= folded) continue;
    for (const Reading& reading : readings->readings) {
      series_[Key{reading.sensor, reading.quantity}].try_emplace(reading.measured_at, reading);
    }
  }
}

const InboxReadings::Series& InboxReadings::series(std::string_view sensor,
                                                   Quantity quantity) const {
  static const Series kNone;
  const auto found = series_.find(ByKey::View(sensor, quantity));
  return found == series_.end() ? kNone : found->second;
}

std::vector<std::string> InboxReadings::sensors() const {
  std::vector<std::string> ids;
  for (const auto& [key, series] : series_) {
    if (ids.empty() || ids.back() != key.sensor) ids.push_back(key.sensor);
  }
  return ids;
}

std::optional<Instant> InboxReadings::newest_measured() const {
  std::optional<Instant> newest;
  for (const auto& [key, series] : series_) {
    const Instant last = series.rbegin()->first;
    newest = newest ? std::max(*newest, last) : last;
  }
  return newest;
}

std::unique_ptr<ReadingCursor> joined_cursor(std::unique_ptr<ReadingCursor> kept,
                                             std::unique_ptr<ReadingCursor> other) {
  if (!kept) return other;
  if (!other) return kept;
  return std::make_unique<JoinedCursor>(std::move(kept), std::move(other));
}

std::unique_ptr<ReadingCursor> merged_cursor(std::unique_ptr<ReadingCursor> rows,
                                             const InboxReadings::Series& series, Instant from,
                                             Instant to) {
  const auto begin = series.lower_bound(from);
  const auto end = from < to ? series.lower_bound(to) : begin;
  if (rows && begin == end) return rows;
  return std::make_unique<MergedCursor>(std::move(rows), begin, end);
}

}  // namespace torpor::daemon
