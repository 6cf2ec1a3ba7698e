#include "daemon/command/export.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <memory>
#include <optional>
#include <utility>

#include "daemon/command/arguments.h"
#include "daemon/command/terminal.h"
#include "daemon/history/store.h"
#include "daemon/report/duration_words.h"
#include "daemon/report/printable.h"
#include "daemon/service/storeroom.h"
#include "sensors/rfc3339.h"

namespace torpor::daemon {
namespace {

// Written in parts of this size.
constexpr std::size_t kPart = 64u << 10;

tl::unexpected<Failure> wrong_usage(std::string text) {
  return tl::unexpected(Failure{ExitCode::usage, std::move(text)});
}

class Output {
 public:
  explicit Output(std::FILE* out) : out_(out) {}
  void add(std::string_view text) {
    waiting_ += text;
    if (waiting_.size() >= kPart) flush();
  }
  [[nodiscard]] bool failed() const { return failed_; }
  Outcome finish() {
    flush();
    if (!failed_ && std::fflush(out_) == 0) return {};
    return tl::unexpected(Failure{ExitCode::failed, "the output could not be written in full"});
  }

 private:
  void flush() {
    if (std::fwrite(waiting_.data(), 1, waiting_.size(), out_) != waiting_.size()) failed_ = true;
    waiting_.clear();
  }

  std::FILE* const out_;
  std::string waiting_;
  bool failed_ = false;
};

struct ExportRange {
  Instant from = instant_of(0);
  Instant to = Instant::max();
  std::optional<Duration> every;
};

// What a chart draws of a series: of each stretch the first, the lowest, the highest and the last
// trusted reading, in the canonical unit.
class ChartCursor final : public ReadingCursor {
 public:
  ChartCursor(std::string_view sensor, Quantity quantity,
              const std::vector<ReadingSummary>& stretches)
      : sensor_(sensor), quantity_(quantity) {
    for (const ReadingSummary& stretch : stretches) {
      for (const ReadingSummary::Extreme& point : chart_points(stretch)) points_.push_back(point);
    }
  }

  std::optional<Reading> next() override {
    if (at_ == points_.size()) return std::nullopt;
    const ReadingSummary::Extreme& point = points_[at_++];
    return Reading{sensor_,  quantity_, point.value, facts(quantity_).unit,
                   point.at, point.at,  kUnmarked};
  }

 private:
  const std::string sensor_;
  const Quantity quantity_;
  std::vector<ReadingSummary::Extreme> points_;
  std::size_t at_ = 0;
};

// The stretches that hold a series begin at whole multiples of their length since 1970, UTC.
ExportRange stretches_of(const Reader& reader, std::string_view sensor, Quantity quantity,
                         const ExportRange& range) {
  const ReadingSummary all = reader.summary(sensor, quantity, range.from, range.to);
  if (!all.first_measured) return {range.from, range.from, range.every};
  const Duration after = all.first_measured->time_since_epoch() % *range.every;
  return {std::max(range.from, *all.first_measured - after), *all.last_measured + Duration(1),
          range.every};
}

std::unique_ptr<ReadingCursor> cursor_over(const Reader& reader, std::string_view sensor,
                                           Quantity quantity, const ExportRange& range) {
  if (!range.every) return reader.readings(sensor, quantity, range.from, range.to);
  const ExportRange held = stretches_of(reader, sensor, quantity, range);
  return std::make_unique<ChartCursor>(
      sensor, quantity, reader.summaries(sensor, quantity, held.from, held.to, *held.every));
}

// The quantities of one sensor in one order of time.
class SensorReadings {
 public:
  SensorReadings(const Reader& reader, std::string_view sensor, const ExportRange& range) {
    for (const QuantityFacts& quantity : quantities()) {
      auto cursor = cursor_over(reader, sensor, quantity.quantity, range);
      auto next = cursor->next();
      series_.push_back({std::move(cursor), std::move(next)});
    }
  }

  // All readings of the next moment; empty: the end.
  std::vector<Reading> next() {
    std::optional<Instant> at;
    for (const Series& series : series_) {
      if (series.next && (!at || series.next->measured_at < *at)) at = series.next->measured_at;
    }
    std::vector<Reading> together;
    for (Series& series : series_) {
      if (!series.next || series.next->measured_at != *at) continue;
      together.push_back(std::move(*series.next));
      series.next = series.cursor->next();
    }
    return together;
  }

 private:
  struct Series {
    std::unique_ptr<ReadingCursor> cursor;
    std::optional<Reading> next;
  };
  std::vector<Series> series_;
};

// A column for each unit that the sensor spoke in: temperature_degC, humidity_percent.
struct CsvColumn {
  Quantity quantity;
  Unit unit;
};

std::string_view csv_unit(Unit unit) {
  switch (unit) {
    case Unit::celsius:
      return "degC";
    case Unit::fahrenheit:
      return "degF";
    case Unit::kelvin:
      return "K";
    case Unit::percent:
      return "percent";
  }
  return "";
}

std::vector<CsvColumn> csv_columns(const Reader& reader, std::string_view sensor,
                                   const ExportRange& range) {
  std::vector<CsvColumn> columns;
  for (const QuantityFacts& quantity : quantities()) {
    std::array<bool, 256> spoken{};
    const auto cursor = cursor_over(reader, sensor, quantity.quantity, range);
    while (const auto reading = cursor->next()) {
      spoken[static_cast<std::uint8_t>(reading->unit)] = true;
    }
    for (const Unit unit : {Unit::celsius, Unit::fahrenheit, Unit::kelvin, Unit::percent}) {
      if (spoken[static_cast<std::uint8_t>(unit)]) columns.push_back({quantity.quantity, unit});
    }
  }
  return columns;
}

void write_csv(const Reader& reader, const std::string& sensor, const ExportRange& range,
               Output& out) {
  const auto columns = csv_columns(reader, sensor, range);
  std::string line = "time";
  for (const CsvColumn& column : columns) {
    line += fmt::format(",{}_{}", facts(column.quantity).name, csv_unit(column.unit));
  }
  out.add(line + '\n');
  SensorReadings readings(reader, sensor, range);
  for (auto row = readings.next(); !row.empty() && !out.failed(); row = readings.next()) {
    line = to_rfc3339(row.front().measured_at);
    for (const CsvColumn& column : columns) {
      line += ',';
      for (const Reading& reading : row) {
        const bool here = reading.quantity == column.quantity && reading.unit == column.unit;
        // The shortest digits that give the same double again.
        if (here) line += fmt::format("{}", reading.raw);
      }
    }
    out.add(line + '\n');
  }
}

// RFC 8428, section 4.5.1: names begin with a letter or digit. Ids may hold more than a name may.
std::string senml_name(std::string_view id) {
  std::string name;
  for (const char c : id) {
    const bool allowed = (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') ||
                         (c >= 'a' && c <= 'z') || (!name.empty() && (c == '-' || c == '_'));
    name += allowed ? c : '.';
  }
  if (!name.empty() && name.front() == '.') name.front() = 'x';
  return name;
}

// Seconds since 1970 with all the milliseconds there are: no double rounds them.
std::string senml_time(Instant at) {
  const std::int64_t ms = unix_ms(at);
  if (ms % 1000 == 0) return fmt::format("{}", ms / 1000);
  return fmt::format("{}.{:03}", ms / 1000, ms % 1000);
}

std::string senml_record(const Reading& reading) {
  // SenML has no Fahrenheit (RFC 8428, section 12.1): such a value goes out converted.
  const bool converted = reading.unit == Unit::fahrenheit;
  const std::string_view unit = reading.unit == Unit::kelvin            ? "K"
                                : reading.quantity == Quantity::battery ? "%EL"
                                : reading.unit == Unit::percent         ? "%RH"
                                                                        : "Cel";
  return fmt::format(R"({{"n":"{}/{}","u":"{}","t":{},"v":{}}})", senml_name(reading.sensor),
                     facts(reading.quantity).name, unit, senml_time(reading.measured_at),
                     converted ? reading.value() : reading.raw);
}

void write_senml(const Reader& reader, const std::vector<std::string>& sensors,
                 const ExportRange& range, Output& out) {
  bool first = true;
  out.add("[");
  for (const std::string& sensor : sensors) {
    SensorReadings readings(reader, sensor, range);
    for (auto row = readings.next(); !row.empty() && !out.failed(); row = readings.next()) {
      for (const Reading& reading : row) {
        out.add((first ? "\n" : ",\n") + senml_record(reading));
        first = false;
      }
    }
  }
  out.add("\n]\n");
}

tl::expected<ExportRange, Failure> range_of(const ExportOrder& order, const LocalTime& zone) {
  ExportRange range;
  struct Bound {
    const char* option;
    const std::string& typed;
    Instant& instant;
  };
  for (const Bound& bound :
       {Bound{"--from", order.from, range.from}, Bound{"--to", order.to, range.to}}) {
    if (bound.typed.empty()) continue;
    const auto instant = zone.parse(bound.typed);
    if (!instant) return wrong_usage(fmt::format("{}: {}", bound.option, instant.error()));
    bound.instant = *instant;
  }
  if (range.from >= range.to) return wrong_usage("--from must lie before --to");
  if (!order.every.empty()) {
    const auto every = read_duration(order.every);
    if (!every) return wrong_usage("--every: " + every.error());
    range.every = *every;
  }
  return range;
}

// So many stretches stand in memory at a time.
Outcome check_stretches(const ExportRange& range, const std::vector<std::string>& sensors,
                        const Reader& reader) {
  if (!range.every) return {};
  for (const std::string& sensor : sensors) {
    for (const QuantityFacts& quantity : quantities()) {
      const ExportRange held = stretches_of(reader, sensor, quantity.quantity, range);
      const std::int64_t stretches = (held.to - held.from) / *held.every;
      if (stretches < kMostBuckets) continue;
      return wrong_usage(fmt::format(
          "--every {} would cut the readings of {} into {} stretches, and more than {} cannot be "
          "held: choose a longer interval, or a shorter time with --from and --to",
          in_words(*range.every), printable(sensor), stretches, kMostBuckets));
    }
  }
  return {};
}

tl::expected<std::vector<std::string>, Failure> sensors_of(const ExportOrder& order,
                                                           const Reader& reader) {
  const auto known = reader.known_sensors();
  if (order.form == ExportForm::csv && order.sensors.size() != 1) {
    return wrong_usage(
        fmt::format("a CSV file holds one sensor: name it with --sensor (there are "
                    "{}), or take --senml",
                    known.empty() ? "none" : fmt::format("{}", fmt::join(known, ", "))));
  }
  for (const std::string& sensor : order.sensors) {
    if (std::ranges::find(known, sensor) != known.end()) continue;
    return tl::unexpected(Failure{
        ExitCode::failed,
        fmt::format("the history holds no readings of a sensor '{}'; it has {}", printable(sensor),
                    known.empty() ? "none at all" : fmt::format("{}", fmt::join(known, ", ")))});
  }
  return order.sensors.empty() ? known : order.sensors;
}

}  // namespace

Outcome export_readings(const ExportOrder& order, const std::filesystem::path& config,
                        std::FILE* out) {
  const auto loaded = load_for_command(config, Purpose::history);
  if (!loaded) return tl::unexpected(loaded.error());
  const auto range = range_of(order, loaded->zone);
  if (!range) return tl::unexpected(range.error());
  const auto reader = Reader::open(loaded->history, spool_folder(loaded->history));
  if (!reader) return tl::unexpected(failure_of(reader.error()));
  const auto sensors = sensors_of(order, **reader);
  if (!sensors) return tl::unexpected(sensors.error());

  if (auto held = check_stretches(*range, *sensors, **reader); !held) return held;

  Output output(out);
  if (order.form == ExportForm::csv) {
    write_csv(**reader, sensors->front(), *range, output);
  } else {
    write_senml(**reader, *sensors, *range, output);
  }
  auto written = output.finish();
  if (const auto fault = (*reader)->fault()) {
    return tl::unexpected(Failure{
        ExitCode::failed,
        fmt::format("the history could not be read in whole, what was written is a part: {}",
                    fault->text)});
  }
  return written;
}

}  // namespace torpor::daemon
