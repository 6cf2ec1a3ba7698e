// What a reading takes on disk once its day is folded, and how fast years come back: day blocks
// beside the narrowest table of one row a reading, in one run.
//
//   torpor_block_bench FILE.csv [FOLDER]
//
// FILE: a header, then time (YYYY-MM-DD HH:MM:SS), temperature in °C, humidity in %. FOLDER: on the
// disk that matters.
#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <random>
#include <string>
#include <vector>

#include "daemon/history/sqlite.h"
#include "daemon/history/store.h"

namespace torpor::daemon {
namespace {

namespace fs = std::filesystem;

// Of this process alone: what others do on the machine meanwhile does not count.
double cpu_ms() { return 1000.0 * static_cast<double>(std::clock()) / CLOCKS_PER_SEC; }
double ms_since(double start) { return cpu_ms() - start; }

template <class Value>
Value good(tl::expected<Value, Error> result) {
  if (!result) {
    fmt::print(stderr, "{}\n", result.error().text);
    std::exit(1);
  }
  if constexpr (!std::is_void_v<Value>) return std::move(*result);
}

std::vector<Reading> readings_of(const fs::path& csv) {
  std::ifstream file(csv);
  std::string line;
  std::getline(file, line);
  std::vector<Reading> readings;
  while (std::getline(file, line)) {
    std::tm time{};
    const char* rest = ::strptime(line.c_str(), "%Y-%m-%d %H:%M:%S", &time);
    if (rest == nullptr) continue;
    char* end = nullptr;
    const double celsius = std::strtod(rest + 1, &end);
    const double percent = std::strtod(end + 1, nullptr);
    const Instant at = instant_of(std::int64_t{::timegm(&time)} * 1000);
    readings.push_back({"s1", Quantity::temperature, celsius, Unit::celsius, at, at, kImported});
    readings.push_back({"s1", Quantity::humidity, percent, Unit::percent, at, at, kImported});
  }
  return readings;
}

std::int64_t pages_of(const fs::path& file, const std::string& tables) {
  const auto database = good(Database::open(file, OpenMode::read_only));
  return good(database->integer("SELECT sum(pgsize) FROM dbstat WHERE name IN (" + tables + ")"));
}

std::int64_t number_in(const fs::path& file, const std::string& sql) {
  return good(good(Database::open(file, OpenMode::read_only))->integer(sql));
}

double folded(const fs::path& file, const std::vector<Reading>& readings) {
  const auto store = good(Store::open(file));
  good(store->begin());
  for (const Reading& reading : readings) good(store->put_reading(reading));
  good(store->commit());
  const double start = cpu_ms();
  const auto days =
      good(store->fold_days(readings.back().measured_at + std::chrono::days(1), 1'000'000));
  return ms_since(start) / static_cast<double>(days);
}

// A table for each quantity of the one sensor: time to the second as the key, the value as a
// double, nothing else.
double narrowest_rows(const fs::path& file, const std::vector<Reading>& readings) {
  {
    const auto database = good(Database::open(file, OpenMode::create));
    good(
        database->execute("CREATE TABLE r1 (at INTEGER PRIMARY KEY, value REAL); "
                          "CREATE TABLE r2 (at INTEGER PRIMARY KEY, value REAL); BEGIN"));
    for (const Quantity quantity : {Quantity::temperature, Quantity::humidity}) {
      const auto insert = database->prepare(
          fmt::format("INSERT OR IGNORE INTO r{} VALUES (?1, ?2)", static_cast<int>(quantity)));
      for (const Reading& reading : readings) {
        if (reading.quantity != quantity) continue;
        insert->bind(1, unix_ms(reading.measured_at) / 1000).bind(2, reading.raw);
        good(insert->run());
      }
    }
    good(database->execute("COMMIT"));
  }
  return static_cast<double>(pages_of(file, "'r1', 'r2'")) / static_cast<double>(readings.size());
}

void sizes(const fs::path& folder, const std::vector<Reading>& imported) {
  const auto count = static_cast<double>(imported.size());
  const double rows = narrowest_rows(folder / "rows", imported);
  fmt::print("rows, the narrowest tables            {:6.2f} bytes a value\n", rows);
  struct Manner {
    const char* name;
    std::vector<Reading> readings;
  };
  std::vector<Manner> manners{{"blocks, imported", imported}, {"blocks, live", imported}};
  const Instant later = imported.back().measured_at + std::chrono::days(30);
  for (Reading& reading : manners[0].readings) reading.received_at = later;
  // Both values of a message arrive together, some tens of milliseconds after a second begins.
  std::mt19937 random(1);
  for (std::size_t i = 0; i < imported.size(); ++i) {
    Reading& reading = manners[1].readings[i];
    const Duration delay(i % 2 == 0 ? 20 + static_cast<int>(random() % 60) : 0);
    reading.marks = kUnmarked;
    reading.received_at =
        i % 2 == 0 ? reading.measured_at + delay : manners[1].readings[i - 1].received_at;
  }
  for (const Manner& manner : manners) {
    const fs::path file = folder / manner.name;
    const double fold_ms = folded(file, manner.readings);
    const auto of_quantity = [&](int quantity) {
      return static_cast<double>(number_in(
                 file, fmt::format("SELECT sum(length(bytes)) FROM day JOIN day_column USING "
                                   "(position) WHERE quantity = {}",
                                   quantity))) /
             (count / 2);
    };
    const double columns = (of_quantity(1) + of_quantity(2)) / 2;
    const double pages = static_cast<double>(pages_of(file, "'day', 'day_column'")) / count;
    fmt::print(
        "{:<28} columns {:6.3f} (temperature {:.3f}, humidity {:.3f}), pages with summaries "
        "{:.3f} bytes a value; {:.1f} and {:.1f} times smaller than rows; {:.1f} ms to fold a "
        "day\n",
        manner.name, columns, of_quantity(1), of_quantity(2), pages, rows / columns, rows / pages,
        fold_ms);
  }
}

void forget_cached(const fs::path& file) {
  const int fd = ::open(file.c_str(), O_RDONLY | O_CLOEXEC);
  if (fd < 0) return;
  ::fsync(fd);
  ::posix_fadvise(fd, 0, 0, POSIX_FADV_DONTNEED);
  ::close(fd);
}

// A made-up cellar: a day's wave, slow drift and the noise of the last digit.
void years(const fs::path& folder, int days) {
  std::mt19937 random(2);
  std::normal_distribution<double> noise(0, 0.02);
  std::vector<Reading> readings;
  const Instant begin = std::chrono::sys_days(std::chrono::year(2023) / 1 / 1);
  double drift = 0;
  for (int minute = 0; minute < days * 1440; ++minute) {
    drift = 0.999 * drift + noise(random);
    const double value = std::round((14 + std::sin(minute / 229.2) + drift + noise(random)) * 100);
    const Instant at = begin + std::chrono::minutes(minute);
    readings.push_back({"s1", Quantity::temperature, value / 100, Unit::celsius, at,
                        at + Duration(40), kUnmarked});
  }
  const fs::path file = folder / "years";
  const double fold_ms = folded(file, readings);
  fmt::print(
      "{} days of minutes, made up: {:.3f} bytes a value in pages, {:.1f} ms CPU to fold a day\n",
      days,
      static_cast<double>(pages_of(file, "'day', 'day_column'")) /
          static_cast<double>(readings.size()),
      fold_ms);
  for (const bool cold : {true, false}) {
    if (cold) forget_cached(file);
    double start = cpu_ms();
    {
      const auto reader = good(Reader::open(file, {}));
      const auto summary =
          reader->summary("s1", Quantity::temperature, begin, begin + std::chrono::days(days));
      if (summary.readings != readings.size() || reader->fault()) std::exit(1);
    }
    const double summary_ms = ms_since(start);
    if (cold) forget_cached(file);
    start = cpu_ms();
    const auto reader = good(Reader::open(file, {}));
    const auto cursor =
        reader->readings("s1", Quantity::temperature, begin, begin + std::chrono::days(days));
    double sum = 0;
    while (const auto reading = cursor->next()) sum += reading->raw;
    fmt::print(
        "  {}: summary from headers {:.1f} ms, every reading through the cursor {:.0f} ms "
        "({:.0f} ns each)\n",
        cold ? "cold" : "warm", summary_ms, ms_since(start),
        ms_since(start) * 1e6 / static_cast<double>(readings.size()));
    if (sum == 0) std::exit(1);
  }
}

int run(const fs::path& csv, const fs::path& parent) {
  const auto readings = readings_of(csv);
  if (readings.empty()) {
    fmt::print(stderr, "no readings in {}\n", csv.string());
    return 1;
  }
  std::string name = (parent / "torpor-bench-XXXXXX").string();
  if (::mkdtemp(name.data()) == nullptr) return 1;
  fmt::print("{}: {} values\n", csv.filename().string(), readings.size());
  sizes(name, readings);
  years(name, 3 * 365);
  fs::remove_all(name);
  return 0;
}

}  // namespace
}  // namespace torpor::daemon

int main(int argc, char** argv) {
  if (argc < 2) {
    std::fprintf(stderr, "torpor_block_bench FILE.csv [FOLDER]\n");
    return 2;
  }
  return torpor::daemon::run(argv[1], argc > 2 ? argv[2] : ".");
}
