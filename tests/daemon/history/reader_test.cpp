#include <doctest/doctest.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <atomic>
#include <functional>
#include <map>
#include <new>
#include <random>

#include "daemon/history/store.h"
#include "samples.h"
#include "test_files.h"

namespace torpor::daemon {
namespace {

std::vector<Reading> all_temperatures(const Reader& reader) {
  return drain(*reader.readings("s1", Quantity::temperature, kNever, kAlways));
}

// Does what the strand does: all that stands in the inbox becomes rows, in one transaction.
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

// Runs `check` in a process of its own, as a user who owns nothing; its result is what it returned.
int as_nobody(const std::function<int()>& check) {
  const pid_t child = ::fork();
  REQUIRE(child >= 0);
  if (child == 0) {
    constexpr uid_t kNobody = 65534;
    // Who is not root is bound by modes already.
    const bool bound = ::getuid() != 0 || (::setgid(kNobody) == 0 && ::setuid(kNobody) == 0);
    ::_exit(bound ? check() : 99);
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  return WIFEXITED(status) ? WEXITSTATUS(status) : 98;
}

TEST_CASE("no history and no inbox: says so, and what to do; nothing is made") {
  const TempFolder scratch;
  const auto reader = Reader::open(scratch / "history.sqlite3", scratch / "spool");
  REQUIRE_FALSE(reader);
  CHECK(reader.error().kind == ErrorKind::not_found);
  CHECK(reader.error().text ==
        "there is no history at " + (scratch / "history.sqlite3").string() +
            " yet: start torpord, or import readings, with the configuration that names this file");
  CHECK(files_in(scratch / "").empty());
}

TEST_CASE("an inbox without a history yet is read alone") {
  const TempFolder scratch;
  const auto inbox = open_inbox(inbox_folder(scratch / "h"));
  must(inbox->append(message({temperature(21, kEvening)})));
  const auto reader = must(Reader::open(scratch / "h", {}));
  CHECK(all_temperatures(*reader) == std::vector<Reading>{temperature(21, kEvening)});
  CHECK(reader->known_sensors() == std::vector<std::string>{"s1"});
  CHECK(reader->newest_measured() == kEvening);
  CHECK(reader->journal().empty());
  CHECK_FALSE(std::filesystem::exists(scratch / "h"));
}

TEST_CASE("rows and inbox are one series, and the first one kept wins") {
  const TempFolder scratch;
  const auto store = must(Store::open(scratch / "h"));
  const auto inbox = open_inbox(inbox_folder(scratch / "h"));
  const auto at = [](int second) { return kEvening + std::chrono::seconds(second); };
  must(store->put_reading(temperature(1, at(1))));
  must(store->put_reading(temperature(3, at(3))));
  must(inbox->append(message({temperature(2, at(2)), temperature(99, at(3))})));
  must(inbox->append(message({temperature(4, at(4)), temperature(98, at(2))})));
  must(inbox->append(message({reading("s2", Quantity::temperature, 7, at(9))})));

  const auto reader = must(Reader::open(scratch / "h", {}));
  CHECK(all_temperatures(*reader) ==
        std::vector<Reading>{temperature(1, at(1)), temperature(2, at(2)), temperature(3, at(3)),
                             temperature(4, at(4))});
  CHECK(drain(*reader->readings("s1", Quantity::temperature, at(2), at(4))).size() == 2);
  CHECK(reader->last_before("s1", Quantity::temperature, at(4)) == temperature(3, at(3)));
  CHECK(reader->last_before("s1", Quantity::temperature, at(3)) == temperature(2, at(2)));
  CHECK(reader->last_before("s1", Quantity::temperature, at(5)) == temperature(4, at(4)));
  CHECK(reader->known_sensors() == std::vector<std::string>{"s1", "s2"});
  CHECK(reader->newest_measured() == at(9));
}

TEST_CASE("a record that was folded is not read from the inbox again") {
  const TempFolder scratch;
  const auto store = must(Store::open(scratch / "h"));
  const auto inbox = open_inbox(inbox_folder(scratch / "h"));
  must(inbox->append(message({temperature(1, kEvening)})));
  must(inbox->append(message({temperature(2, kEvening + Duration(1))})));
  // The strand refused the first one: it is applied, and no row.
  must(store->put_snapshot(1, ""));
  const auto reader = must(Reader::open(scratch / "h", {}));
  CHECK(all_temperatures(*reader) == std::vector<Reading>{temperature(2, kEvening + Duration(1))});
}

TEST_CASE("records in the spool are read too") {
  const TempFolder scratch;
  const auto store = must(Store::open(scratch / "h"));
  InboxOptions options;
  options.folder = scratch / "elsewhere";
  must(must(Inbox::open(options, 0))->append(message({temperature(1, kEvening)})));
  CHECK(all_temperatures(*must(Reader::open(scratch / "h", {}))).empty());
  CHECK(all_temperatures(*must(Reader::open(scratch / "h", scratch / "elsewhere"))).size() == 1);
}

// What merging must give, in the plainest way: everything in the order it was kept, first one wins.
class NaiveHistory {
 public:
  void keep(const Reading& reading) {
    kept_[{reading.sensor, reading.quantity}].push_back(reading);
  }

  std::vector<Reading> readings(const std::string& sensor, Quantity quantity, Instant from,
                                Instant to) const {
    std::vector<Reading> result;
    const auto series = kept_.find({sensor, quantity});
    if (series == kept_.end()) return result;
    for (const Reading& reading : series->second) {
      const bool known = std::any_of(result.begin(), result.end(), [&](const Reading& other) {
        return other.measured_at == reading.measured_at;
      });
      if (!known && reading.measured_at >= from && reading.measured_at < to) {
        result.push_back(reading);
      }
    }
    std::sort(result.begin(), result.end(),
              [](const Reading& a, const Reading& b) { return a.measured_at < b.measured_at; });
    return result;
  }

 private:
  std::map<std::pair<std::string, Quantity>, std::vector<Reading>> kept_;
};

TEST_CASE("merged series equal a plain reference over random histories") {
  std::mt19937 random(20260302);
  const auto pick = [&](int low, int high) {
    return std::uniform_int_distribution<int>(low, high)(random);
  };
  for (int round = 0; round < 40; ++round) {
    CAPTURE(round);
    const TempFolder scratch;
    const auto store = must(Store::open(scratch / "h"));
    const auto inbox = open_inbox(inbox_folder(scratch / "h"));
    NaiveHistory naive;
    const auto any_reading = [&] {
      const auto quantity = pick(0, 1) == 0 ? Quantity::temperature : Quantity::humidity;
      return reading("s" + std::to_string(pick(1, 2)), quantity, pick(0, 5),
                     kEvening + Duration(pick(0, 25)));
    };
    const int messages = pick(0, 40);
    for (int i = 0; i < messages; ++i) {
      std::vector<Reading> readings;
      for (int n = pick(1, 3); n > 0; --n) readings.push_back(any_reading());
      for (const Reading& reading : readings) naive.keep(reading);
      must(inbox->append(message(readings)));
      if (pick(0, 9) == 0) fold(*inbox, *store);
    }
    if (messages == 0) continue;
    const auto reader = must(Reader::open(scratch / "h", {}));
    for (int query = 0; query < 20; ++query) {
      const std::string sensor = "s" + std::to_string(pick(1, 3));
      const auto quantity = pick(0, 1) == 0 ? Quantity::temperature : Quantity::humidity;
      const Instant from = kEvening + Duration(pick(-2, 27));
      const Instant to = kEvening + Duration(pick(-2, 27));
      const auto expected = naive.readings(sensor, quantity, from, to);
      CHECK(drain(*reader->readings(sensor, quantity, from, to)) == expected);
      const auto before = naive.readings(sensor, quantity, kNever, to);
      CHECK(reader->last_before(sensor, quantity, to) ==
            (before.empty() ? std::nullopt : std::optional<Reading>(before.back())));
    }
  }
}

TEST_CASE("a reader keeps its moment while the writer goes on") {
  const TempFolder scratch;
  const auto store = must(Store::open(scratch / "h"));
  const auto inbox = open_inbox(inbox_folder(scratch / "h"));
  must(inbox->append(message({temperature(1, kEvening)})));
  const auto reader = must(Reader::open(scratch / "h", {}));
  const auto cursor = reader->readings("s1", Quantity::temperature, kNever, kAlways);
  must(inbox->append(message({temperature(2, kEvening + Duration(1))})));
  fold(*inbox, *store);
  must(store->put_note("n", "later"));
  CHECK(drain(*cursor).size() == 1);
  CHECK(all_temperatures(*reader).size() == 1);
  CHECK_FALSE(reader->note("n"));
  CHECK(all_temperatures(*must(Reader::open(scratch / "h", {}))).size() == 2);
}

// Appends, folds and drops for a while in another process; `kept` counts what append() returned.
[[noreturn]] void write_history(const std::filesystem::path& file, std::atomic<int>& kept,
                                const std::atomic<bool>& stop) {
  const auto store = Store::open(file);
  InboxOptions options;
  options.folder = inbox_folder(file);
  options.segment_bytes = 600;
  const auto inbox = Inbox::open(options, 0);
  if (!store || !inbox) ::_exit(1);
  for (int i = 1; !stop; ++i) {
    const auto appended =
        (*inbox)->append(message({temperature(i, kEvening + std::chrono::seconds(i))}));
    if (!appended) ::_exit(2);
    kept = i;
    if (i % 7 == 0) fold(**inbox, **store);
  }
  ::_exit(0);
}

TEST_CASE(
    "while another process appends and folds, a reader sees all that was kept, without holes") {
  const TempFolder scratch;
  struct Shared {
    std::atomic<int> kept = 0;
    std::atomic<bool> stop = false;
  };
  void* const memory =
      ::mmap(nullptr, sizeof(Shared), PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
  REQUIRE(memory != MAP_FAILED);
  auto* const shared = new (memory) Shared;
  const pid_t child = ::fork();
  REQUIRE(child >= 0);
  if (child == 0) write_history(scratch / "h", shared->kept, shared->stop);
  while (shared->kept == 0) ::usleep(1000);

  int rounds_that_grew = 0;
  std::size_t seen = 0;
  // A slow reader has ever more to read beside a writer that does not wait for it.
  constexpr std::size_t kMany = 20'000;
  for (int round = 0; round < 150 && seen < kMany; ++round) {
    const auto kept_before = static_cast<std::size_t>(shared->kept.load());
    const auto reader = must(Reader::open(scratch / "h", {}));
    const auto readings = all_temperatures(*reader);
    CHECK_FALSE(reader->fault());
    CHECK(readings.size() >= kept_before);
    bool whole = true;
    for (std::size_t i = 0; i < readings.size(); ++i) {
      whole = whole && readings[i].raw == static_cast<double>(i + 1);
    }
    CHECK(whole);
    rounds_that_grew += readings.size() > seen ? 1 : 0;
    seen = readings.size();
  }
  CHECK(rounds_that_grew > 10);
  shared->stop = true;
  int status = 0;
  ::waitpid(child, &status, 0);
  CHECK(WIFEXITED(status));
  CHECK(WEXITSTATUS(status) == 0);
  ::munmap(memory, sizeof(Shared));
}

int count_as_reader(const std::filesystem::path& file) {
  const auto reader = Reader::open(file, {});
  if (!reader) return 90;
  const auto readings = all_temperatures(**reader);
  return (*reader)->fault() ? 91 : static_cast<int>(readings.size());
}

// The history in a folder where only its owner may write.
std::filesystem::path history_in_closed_folder(const TempFolder& scratch) {
  ::chmod((scratch / "").c_str(), 0755);
  const auto file = scratch / "closed/h";
  const auto store = must(Store::open(file));
  must(store->put_reading(temperature(1, kEvening)));
  return file;
}

TEST_CASE("who may not write in the folder can read after a clean stop") {
  const TempFolder scratch;
  const auto file = history_in_closed_folder(scratch);
  ::chmod(file.parent_path().c_str(), 0555);
  CHECK(as_nobody([&] { return count_as_reader(file); }) == 1);
  ::chmod(file.parent_path().c_str(), 0755);
}

TEST_CASE("who may not write in the folder can read when only the history file is there") {
  const TempFolder scratch;
  const auto file = history_in_closed_folder(scratch);
  std::filesystem::remove(file.string() + "-wal");
  std::filesystem::remove(file.string() + "-shm");
  ::chmod(file.parent_path().c_str(), 0555);
  CHECK(as_nobody([&] { return count_as_reader(file); }) == 1);
  CHECK_FALSE(std::filesystem::exists(file.string() + "-wal"));
  ::chmod(file.parent_path().c_str(), 0755);
}

TEST_CASE("who may not write in the folder can read while the writer runs") {
  const TempFolder scratch;
  const auto file = history_in_closed_folder(scratch);
  const auto store = must(Store::open(file));
  must(store->put_reading(temperature(2, kEvening + Duration(1))));
  const auto inbox = open_inbox(inbox_folder(file));
  must(inbox->append(message({temperature(3, kEvening + Duration(2))})));
  CHECK(as_nobody([&] { return count_as_reader(file); }) == 3);
}

TEST_CASE("a reader changes nothing") {
  const TempFolder scratch;
  {
    const auto store = must(Store::open(scratch / "h"));
    must(store->put_reading(temperature(1, kEvening)));
  }
  const std::string before = file_bytes(scratch / "h");
  CHECK(count_as_reader(scratch / "h") == 1);
  CHECK(file_bytes(scratch / "h") == before);
}

TEST_CASE("a long series comes in order through the cursor while another one is open") {
  const TempFolder scratch;
  const auto store = must(Store::open(scratch / "h"));
  must(store->begin());
  constexpr int kRows = 50000;
  for (int i = 0; i < kRows; ++i) {
    must(store->put_reading(temperature(i, kEvening + std::chrono::minutes(i))));
    must(store->put_reading(
        reading("s1", Quantity::humidity, i % 100, kEvening + std::chrono::minutes(i))));
  }
  must(store->commit());
  const auto reader = must(Reader::open(scratch / "h", {}));
  const auto first = reader->readings("s1", Quantity::temperature, kNever, kAlways);
  const auto second = reader->readings("s1", Quantity::humidity, kNever, kAlways);
  int matched = 0;
  while (const auto a = first->next()) {
    const auto b = second->next();
    matched += b && b->measured_at == a->measured_at && a->raw == matched ? 1 : 0;
  }
  CHECK(matched == kRows);
  CHECK_FALSE(second->next());
}

}  // namespace
}  // namespace torpor::daemon
