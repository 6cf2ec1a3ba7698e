// How fast readings are kept, folded and read, and what they cost on disk, beside the plainest way:
// one INSERT and one commit per reading. All in one run, in a scratch folder on the disk that
// matters: torpor_history_bench [FOLDER]. Quote ratios of one run; the machine's noise is in them
// all.
#include <fcntl.h>
#include <fmt/format.h>
#include <sqlite3.h>
#include <sys/syscall.h>
#include <unistd.h>

#include <chrono>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <functional>
#include <limits>
#include <string>
#include <type_traits>

#include "daemon/history/inbox.h"
#include "daemon/history/store.h"

namespace {
int file_syncs = 0;
}

// Found by the dynamic linker before the C library's: counts ours and SQLite's.
extern "C" int fdatasync(int fd) {
  ++file_syncs;
  return static_cast<int>(::syscall(SYS_fdatasync, fd));
}
extern "C" int fsync(int fd) {
  ++file_syncs;
  return static_cast<int>(::syscall(SYS_fsync, fd));
}

namespace torpor::daemon {
namespace {

namespace fs = std::filesystem;
constexpr Instant kStart = instant_of(1772476200000);
constexpr int kSensors = 6;

double seconds_of(const std::function<void()>& work) {
  const auto start = std::chrono::steady_clock::now();
  work();
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

// A benchmark that measured failures would lie: it stops at the first one.
template <class Value>
Value must(tl::expected<Value, Error> result) {
  if (!result) {
    fmt::print(stderr, "{}\n", result.error().text);
    std::exit(1);
  }
  if constexpr (!std::is_void_v<Value>) return std::move(*result);
}

Reading reading_of(int message, Quantity quantity) {
  const Instant measured = kStart + std::chrono::seconds(10) * message;
  const bool warm = quantity == Quantity::temperature;
  const double raw = (warm ? 17.0 : 62.0) + 0.01 * (message * 37 % 300);
  return {fmt::format("s{}", message % kSensors),
          quantity,
          raw,
          warm ? Unit::celsius : Unit::percent,
          measured,
          measured + Duration(180),
          kUnmarked};
}

// Temperature and humidity of one sensor: what a message usually is.
ReadingsRecord message_of(int message) {
  const Reading temperature = reading_of(message, Quantity::temperature);
  return {temperature.received_at,
          {temperature, reading_of(message, Quantity::humidity)},
          static_cast<std::uint64_t>(message),
          false};
}

std::unique_ptr<Inbox> open_inbox(const fs::path& history, bool power_cut) {
  InboxOptions options;
  options.folder = inbox_folder(history);
  options.power_cut = power_cut;
  return must(Inbox::open(options, 0));
}

void fold(Inbox& inbox, Store& store) {
  const auto records = inbox.read_after(store.snapshot().sequence);
  if (records.empty()) return;
  must(store.begin());
  for (const InboxRecord& record : records) {
    for (const Reading& reading : std::get<ReadingsRecord>(record.payload).readings) {
      must(store.put_reading(reading));
    }
  }
  must(store.put_snapshot(records.back().sequence, ""));
  must(store.commit());
  inbox.drop_through(records.back().sequence);
}

void append_rate(const fs::path& folder, bool power_cut, int messages) {
  const auto inbox = open_inbox(folder / (power_cut ? "a-cut" : "a"), power_cut);
  const double seconds = seconds_of([&] {
    for (int i = 0; i < messages; ++i) must(inbox->append(message_of(i)));
  });
  std::uintmax_t bytes = 0;
  for (const auto& file :
       fs::directory_iterator(inbox_folder(folder / (power_cut ? "a-cut" : "a")))) {
    bytes += file.file_size();
  }
  fmt::print("inbox append, {:<9}  {:>9.0f} messages/s   {:.1f} bytes per message of 2 readings\n",
             power_cut ? "power-cut" : "crash", messages / seconds,
             static_cast<double>(bytes) / messages);
}

void fold_rate(const fs::path& folder, int messages, int batch) {
  const fs::path file = folder / fmt::format("fold-{}", batch);
  double appending = 0;
  double folding = 0;
  {
    const auto store = must(Store::open(file));
    const auto inbox = open_inbox(file, false);
    for (int i = 0; i < messages; i += batch) {
      appending += seconds_of([&] {
        for (int j = i; j < i + batch; ++j) must(inbox->append(message_of(j)));
      });
      folding += seconds_of([&] { fold(*inbox, *store); });
    }
  }
  fmt::print(
      "fold, {:>4} messages/commit {:>9.0f} rows/s   {:>9.0f} rows/s with the append   {:.1f} "
      "bytes/row\n",
      batch, 2 * messages / folding, 2 * messages / (appending + folding),
      static_cast<double>(fs::file_size(file)) / (2 * messages));
}

// The plainest way: one table, text topic, one INSERT and commit per value.
void plain_rate(const fs::path& folder, const char* name, const char* settings, int rows) {
  const fs::path file = folder / fmt::format("plain-{}", name);
  sqlite3* database = nullptr;
  sqlite3_open(file.c_str(), &database);
  sqlite3_exec(database, settings, nullptr, nullptr, nullptr);
  sqlite3_exec(
      database,
      "CREATE TABLE r (topic TEXT, ts INTEGER, value REAL); CREATE INDEX i ON r (topic, ts)",
      nullptr, nullptr, nullptr);
  sqlite3_stmt* insert = nullptr;
  sqlite3_prepare_v2(database, "INSERT INTO r VALUES (?1, ?2, ?3)", -1, &insert, nullptr);
  const double seconds = seconds_of([&] {
    for (int i = 0; i < rows; ++i) {
      const Reading reading =
          reading_of(i / 2, i % 2 == 0 ? Quantity::temperature : Quantity::humidity);
      const std::string topic =
          fmt::format("cellar/{}/{}", reading.sensor, facts(reading.quantity).name);
      sqlite3_bind_text(insert, 1, topic.c_str(), -1, SQLITE_TRANSIENT);
      sqlite3_bind_int64(insert, 2, unix_ms(reading.measured_at));
      sqlite3_bind_double(insert, 3, reading.raw);
      if (sqlite3_step(insert) != SQLITE_DONE) std::exit(1);
      sqlite3_reset(insert);
    }
  });
  sqlite3_finalize(insert);
  sqlite3_close(database);
  fmt::print("plain INSERT, {:<12} {:>9.0f} rows/s   {:.1f} bytes/row\n", name, rows / seconds,
             static_cast<double>(fs::file_size(file)) / rows);
}

void read_rate(const fs::path& folder, int rows) {
  const fs::path file = folder / "read";
  {
    const auto store = must(Store::open(file));
    must(store->begin());
    for (int i = 0; i < rows; ++i) {
      Reading reading = reading_of(i * kSensors, Quantity::temperature);
      must(store->put_reading(reading));
    }
    must(store->commit());
  }
  const auto reader = must(Reader::open(file, {}));
  int read = 0;
  const double seconds = seconds_of([&] {
    const auto cursor = reader->readings("s0", Quantity::temperature,
                                         instant_of(std::numeric_limits<std::int64_t>::min()),
                                         instant_of(std::numeric_limits<std::int64_t>::max()));
    while (cursor->next()) ++read;
  });
  fmt::print("cursor over {} rows    {:>9.0f} rows/s   {:.0f} ms\n", read, read / seconds,
             1000 * seconds);
}

std::uint64_t bytes_written() {
  std::ifstream io("/proc/self/io");
  std::string name;
  std::uint64_t value = 0;
  while (io >> name >> value) {
    if (name == "write_bytes:") return value;
  }
  return 0;
}

// Of one reading, on the way to the disk.
struct Cost {
  double bytes = 0;
  double syncs = 0;
};

// One reading a second, folded once a minute. The kernel writes dirty pages out every 5 s at the
// most often (vm.dirty_writeback_centisecs; it would let them be for 30 s): so does this.
Cost calm_cost(const fs::path& folder, bool power_cut, int minutes) {
  const fs::path file = folder / (power_cut ? "calm-cut" : "calm");
  const auto store = must(Store::open(file));
  const auto inbox = open_inbox(file, power_cut);
  const int directory = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  ::syncfs(directory);
  const std::uint64_t before = bytes_written();
  const int syncs_before = file_syncs;
  const int readings = 60 * minutes;
  for (int second = 1; second <= readings; ++second) {
    const Instant at = kStart + std::chrono::seconds(second);
    const double raw = 17.0 + 0.01 * (second * 37 % 300);
    must(inbox->append(ReadingsRecord{
        at + Duration(180),
        {{"s1", Quantity::temperature, raw, Unit::celsius, at, at + Duration(180), kUnmarked}},
        static_cast<std::uint64_t>(second),
        false}));
    if (second % 60 == 0) fold(*inbox, *store);
    if (second % 5 == 0) ::syncfs(directory);
  }
  const double bytes = static_cast<double>(bytes_written() - before);
  ::close(directory);
  return {bytes / readings, static_cast<double>(file_syncs - syncs_before) / readings};
}

// The same with one commit a reading.
Cost commit_cost(const fs::path& folder, const std::string& name, const char* settings, int rows) {
  sqlite3* database = nullptr;
  sqlite3_open((folder / name).c_str(), &database);
  sqlite3_exec(database, settings, nullptr, nullptr, nullptr);
  sqlite3_exec(database,
               "CREATE TABLE r (sensor INTEGER, at INTEGER, value REAL, PRIMARY KEY (sensor, at)) "
               "WITHOUT ROWID",
               nullptr, nullptr, nullptr);
  const int directory = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  ::syncfs(directory);
  const std::uint64_t before = bytes_written();
  const int syncs_before = file_syncs;
  for (int i = 0; i < rows; ++i) {
    const std::string insert =
        fmt::format("INSERT INTO r VALUES (1, {}, {})", 1772476200000 + i * 1000, 17.0 + i * 0.01);
    if (sqlite3_exec(database, insert.c_str(), nullptr, nullptr, nullptr) != SQLITE_OK) {
      std::exit(1);
    }
    if (i % 5 == 4) ::syncfs(directory);
  }
  const double bytes = static_cast<double>(bytes_written() - before);
  const int syncs = file_syncs - syncs_before;
  ::close(directory);
  sqlite3_close(database);
  return {bytes / rows, static_cast<double>(syncs) / rows};
}

void calm_costs(const fs::path& folder) {
  const Cost plain = commit_cost(folder, "calm-plain", "", 300);
  const auto say = [&plain](const char* name, const Cost& cost) {
    fmt::print("calm, {:<32} {:>7.0f} bytes {:>6.3f} fsyncs a reading   {:.3f} of the bytes\n",
               name, cost.bytes, cost.syncs, cost.bytes / plain.bytes);
  };
  fmt::print("calm: one reading a second, written to the disk; of one SQLite commit a reading:\n");
  say("SQLite, defaults", plain);
  say("SQLite, WAL NORMAL",
      commit_cost(folder, "calm-wal", "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL", 300));
  say("SQLite, WAL FULL",
      commit_cost(folder, "calm-full", "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL", 300));
  say("survives: crash", calm_cost(folder, false, 10));
  say("survives: power-cut", calm_cost(folder, true, 10));
}

int run(const fs::path& parent) {
  std::string name = (parent / "torpor-bench-XXXXXX").string();
  if (::mkdtemp(name.data()) == nullptr) {
    fmt::print(stderr, "cannot make a folder in {}\n", parent.string());
    return 1;
  }
  const fs::path folder = name;
  append_rate(folder, false, 100'000);
  append_rate(folder, true, 2'000);
  for (const int batch : {1, 10, 1000}) fold_rate(folder, batch == 1 ? 20'000 : 100'000, batch);
  plain_rate(folder, "defaults", "", 1'000);
  plain_rate(folder, "WAL NORMAL", "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL", 100'000);
  read_rate(folder, 525'600);
  calm_costs(folder);
  fs::remove_all(folder);
  return 0;
}

}  // namespace
}  // namespace torpor::daemon

int main(int argc, char** argv) { return torpor::daemon::run(argc > 1 ? argv[1] : "."); }
