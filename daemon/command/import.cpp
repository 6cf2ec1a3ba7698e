#include "daemon/command/import.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <fstream>
#include <memory>
#include <nlohmann/json.hpp>
#include <optional>
#include <utility>
#include <vector>

#include "daemon/command/terminal.h"
#include "daemon/history/logger_csv.h"
#include "daemon/report/printable.h"
#include "daemon/service/import_channel.h"
#include "daemon/service/load_settings.h"

namespace torpor::daemon {
namespace {

// Enough to see what is wrong with a file; a wrong unit or date format fails in every row.
constexpr std::size_t kFaultsShown = 20;
constexpr auto kProgressPause = std::chrono::milliseconds(500);

// How far the file is read, on a terminal's last line; gone when done.
class Progress {
 public:
  Progress(std::istream& stream, std::uintmax_t size) : stream_(stream), size_(size) {}
  ~Progress() {
    if (drawn_) std::fputs("\r\x1b[K", stderr);
  }
  Progress(const Progress&) = delete;
  Progress& operator=(const Progress&) = delete;

  void show(std::uint64_t readings) {
    const auto now = std::chrono::steady_clock::now();
    if (!wanted_ || size_ == 0 || now < next_) return;
    next_ = now + kProgressPause;
    drawn_ = true;
    const std::streamoff position = stream_.tellg();
    const double share =
        position < 0 ? 100.0 : 100.0 * static_cast<double>(position) / static_cast<double>(size_);
    std::fprintf(stderr, "\r\x1b[K%.0f %%, %llu readings", std::min(share, 100.0),
                 static_cast<unsigned long long>(readings));
    std::fflush(stderr);
  }

 private:
  std::istream& stream_;
  const std::uintmax_t size_;
  const bool wanted_ = shows_progress();
  bool drawn_ = false;
  // A short file is done before anyone looks.
  std::chrono::steady_clock::time_point next_ = std::chrono::steady_clock::now() + kProgressPause;
};

// Readings on their way into the history, a batch at a time. The way is opened for the first batch:
// a file without a usable row changes nothing.
class Batches {
 public:
  Batches(const Loaded& loaded, Progress& progress) : loaded_(loaded), progress_(progress) {}

  tl::expected<void, Error> add(const std::vector<Reading>& readings) {
    if (waiting_.size() + readings.size() > kLargestImportBatch) {
      if (auto put = flush(); !put) return put;
    }
    waiting_.insert(waiting_.end(), readings.begin(), readings.end());
    return {};
  }

  tl::expected<void, Error> flush() {
    if (waiting_.empty()) return {};
    if (!channel_) {
      auto opened = ImportChannel::open(loaded_, wall_now());
      if (!opened) return tl::unexpected(opened.error());
      channel_ = std::move(*opened);
    }
    const auto put = channel_->put(std::exchange(waiting_, {}), wall_now());
    if (!put) return tl::unexpected(put.error());
    totals_.fresh += put->fresh;
    totals_.known += put->known;
    totals_.conflicting += put->conflicting;
    progress_.show(totals_.fresh + totals_.known + totals_.conflicting);
    return {};
  }

  [[nodiscard]] const ImportTotals& totals() const { return totals_; }
  [[nodiscard]] bool through_service() const { return channel_ && channel_->service_running(); }

 private:
  const Loaded& loaded_;
  Progress& progress_;
  std::unique_ptr<ImportChannel> channel_;
  std::vector<Reading> waiting_;
  ImportTotals totals_;
};

struct Findings {
  LoggerCsvCounts counts;
  ImportTotals totals;
  std::vector<std::string> faults;  // the first kFaultsShown
  std::uint64_t all_faults = 0;
  bool through_service = false;
};

std::string totals_text(const ImportTotals& totals) {
  return fmt::format("{} new, {} known already, {} conflicting (the first value stays)",
                     totals.fresh, totals.known, totals.conflicting);
}

std::string text_of(const Findings& found, const ImportOrder& order) {
  std::string text = fmt::format("{}: {} rows read for sensor {}{}\n",
                                 printable(order.file.string()), found.counts.rows, order.sensor,
                                 found.through_service ? ", through the running service" : "");
  text += fmt::format("  readings: {}\n", totals_text(found.totals));
  const auto note = [&text](std::uint64_t count, std::string_view what) {
    if (count > 0) text += fmt::format("  {} {}\n", count, what);
  };
  note(found.counts.out_of_range, "values that air cannot have: kept, not trusted");
  note(found.counts.empty_cells, "empty cells");
  if (!found.counts.unused_columns.empty()) {
    text += fmt::format("  columns not used: {}\n", listed_columns(found.counts.unused_columns));
  }
  text += fmt::format("  {} rows refused\n", found.counts.rows_refused);
  for (const std::string& fault : found.faults) text += "    " + printable(fault) + '\n';
  if (found.all_faults > found.faults.size()) {
    text += fmt::format("    and {} more\n", found.all_faults - found.faults.size());
  }
  return text;
}

std::string json_of(const Findings& found, const ImportOrder& order) {
  nlohmann::ordered_json tree;
  tree["sensor"] = order.sensor;
  tree["rows"] = found.counts.rows;
  tree["rows_refused"] = found.counts.rows_refused;
  tree["readings_new"] = found.totals.fresh;
  tree["readings_known"] = found.totals.known;
  tree["readings_conflicting"] = found.totals.conflicting;
  tree["readings_out_of_range"] = found.counts.out_of_range;
  tree["empty_cells"] = found.counts.empty_cells;
  tree["columns_not_used"] = found.counts.unused_columns;
  tree["faults"] = found.faults;
  tree["faults_not_shown"] = found.all_faults - found.faults.size();
  return tree.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + '\n';
}

Outcome check_sensor(const config::Settings& settings, const std::string& sensor) {
  std::vector<std::string> known;
  known.reserve(settings.sensors.size());
  for (const auto& configured : settings.sensors) known.push_back(configured.spec.id);
  if (std::find(known.begin(), known.end(), sensor) != known.end()) return {};
  const std::string nearest = config::nearest_word(sensor, known);
  return usage(fmt::format(
      "no sensor '{}' is configured{} Readings need one, so that they have a "
      "place: add it to the configuration first.",
      printable(sensor), nearest.empty() ? "." : fmt::format("; did you mean {}?", nearest)));
}

tl::expected<LoggerCsvOptions, Failure> options_of(const ImportOrder& order) {
  LoggerCsvOptions options;
  options.sensor = order.sensor;
  options.received_at = wall_now();
  if (!order.columns.empty()) {
    auto columns = parse_logger_columns(order.columns);
    if (!columns) return usage("--columns: " + columns.error());
    options.columns = std::move(*columns);
  }
  if (!order.zone.empty()) {
    auto zone = LocalTime::in_zone(order.zone);
    if (!zone) return usage("--zone: " + zone.error());
    options.local_time = [zone = std::move(*zone)](std::string_view text) {
      return zone.parse(text);
    };
  }
  return options;
}

Failure failure_midway(const Error& error, const ImportOrder& order, const ImportTotals& totals) {
  Failure failure = failure_of(error);
  if (error.kind == ErrorKind::refused) {  // the header, or what the service makes of the readings
    failure = {ExitCode::refused, fmt::format("{}: {}", order.file.string(), error.text)};
  }
  if (totals.fresh + totals.known + totals.conflicting > 0) {
    failure.text += fmt::format("\nuntil then: {}; importing the file again goes on from there",
                                totals_text(totals));
  }
  return failure;
}

}  // namespace

tl::expected<ImportReport, Failure> import_readings(const ImportOrder& order,
                                                    const std::filesystem::path& config) {
  const auto loaded = load_for_command(config, Purpose::history);
  if (!loaded) return tl::unexpected(loaded.error());
  if (auto known = check_sensor(loaded->settings, order.sensor); !known) {
    return tl::unexpected(known.error());
  }
  const auto options = options_of(order);
  if (!options) return tl::unexpected(options.error());
  std::error_code unknown;
  const std::uintmax_t size = std::filesystem::file_size(order.file, unknown);
  std::ifstream stream(order.file, std::ios::binary);
  if (!stream || unknown == std::errc::is_a_directory) {
    return usage(fmt::format("{} cannot be read", printable(order.file.string())));
  }

  Findings found;
  Progress progress(stream, unknown ? 0 : size);
  Batches batches(*loaded, progress);
  auto counts = read_logger_csv(
      stream, *options,
      [&batches](const std::vector<Reading>& readings) { return batches.add(readings); },
      [&found](const CsvFault& fault) {
        if (++found.all_faults <= kFaultsShown) found.faults.push_back(fault_text(fault));
      });
  if (!counts) return tl::unexpected(failure_midway(counts.error(), order, batches.totals()));
  if (auto last = batches.flush(); !last) {
    return tl::unexpected(failure_midway(last.error(), order, batches.totals()));
  }
  found.counts = std::move(*counts);
  found.totals = batches.totals();
  found.through_service = batches.through_service();
  return ImportReport{order.json ? json_of(found, order) : text_of(found, order),
                      found.counts.rows_refused};
}

}  // namespace torpor::daemon
