// Whose file it is, who may write it, and what happens when it cannot be written.
#include <doctest/doctest.h>
#include <signal.h>
#include <sqlite3.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include "daemon/history/store.h"
#include "samples.h"
#include "test_files.h"

namespace torpor::daemon {
namespace {

void run_sql(const std::filesystem::path& file, const char* sql) {
  sqlite3* database = nullptr;
  REQUIRE(sqlite3_open(file.c_str(), &database) == SQLITE_OK);
  CHECK(sqlite3_exec(database, sql, nullptr, nullptr, nullptr) == SQLITE_OK);
  sqlite3_close(database);
}

std::int64_t sql_integer(const std::filesystem::path& file, const char* sql) {
  sqlite3* database = nullptr;
  sqlite3_stmt* statement = nullptr;
  REQUIRE(sqlite3_open(file.c_str(), &database) == SQLITE_OK);
  REQUIRE(sqlite3_prepare_v2(database, sql, -1, &statement, nullptr) == SQLITE_OK);
  REQUIRE(sqlite3_step(statement) == SQLITE_ROW);
  const std::int64_t value = sqlite3_column_int64(statement, 0);
  sqlite3_finalize(statement);
  sqlite3_close(database);
  return value;
}

TEST_CASE("the file says that it is ours and of which schema") {
  const TempFolder scratch;
  must(Store::open(scratch / "h"));
  CHECK(sql_integer(scratch / "h", "PRAGMA application_id") == 0x74706f72);
  CHECK(sql_integer(scratch / "h", "PRAGMA user_version") == kSchemaVersion);
  CHECK(file_bytes(scratch / "h").substr(68, 4) == "tpor");
}

TEST_CASE("a newer schema is refused by writer and reader, and left alone") {
  const TempFolder scratch;
  const auto file = scratch / "h";
  must(Store::open(file));
  run_sql(file, "PRAGMA user_version = 4");
  const std::string message =
      file.string() +
      " was written by a newer torpor: its schema is version 4, this program knows up to version "
      "3; install the newer torpor again";
  const auto store = Store::open(file);
  REQUIRE_FALSE(store);
  CHECK(store.error().kind == ErrorKind::newer_version);
  CHECK(store.error().text == message);
  const auto reader = Reader::open(file, {});
  REQUIRE_FALSE(reader);
  CHECK(reader.error().kind == ErrorKind::newer_version);
  CHECK(reader.error().text == message);
  CHECK(sql_integer(file, "PRAGMA user_version") == 4);
}

TEST_CASE("a file that is not SQLite is refused by writer and reader, and left alone") {
  for (const std::string& bytes : {std::string("hello"), std::string(20000, 'x'),
                                   std::string("SQLite format 3\0garbage", 23)}) {
    const TempFolder scratch;
    const auto file = scratch / "h";
    write_bytes(file, bytes);
    const auto store = Store::open(file);
    REQUIRE_FALSE(store);
    CHECK(store.error().kind == ErrorKind::corrupt);
    CHECK(store.error().text == file.string() + " is not a history that can be read (" +
                                    file.string() +
                                    ": file is not a database); nothing was changed. Name another "
                                    "file as history, or put back a backup of this one");
    CHECK(Reader::open(file, {}).error().kind == ErrorKind::corrupt);
    CHECK(file_bytes(file) == bytes);
  }
}

TEST_CASE("another program's SQLite file is refused and left alone") {
  const TempFolder scratch;
  const auto file = scratch / "h";
  run_sql(file, "CREATE TABLE t (a); INSERT INTO t VALUES (1)");
  const std::string before = file_bytes(file);
  const auto store = Store::open(file);
  REQUIRE_FALSE(store);
  CHECK(store.error().kind == ErrorKind::corrupt);
  CHECK(store.error().text ==
        file.string() +
            " is an SQLite file of another program, not a history of torpor; nothing "
            "was changed. Name another file as history, or put back a backup of this "
            "one");
  CHECK(Reader::open(file, {}).error().kind == ErrorKind::corrupt);
  CHECK(file_bytes(file) == before);
}

TEST_CASE("an empty file becomes a history; until then readers find none") {
  const TempFolder scratch;
  write_bytes(scratch / "h", "");
  CHECK(Reader::open(scratch / "h", {}).error().kind == ErrorKind::not_found);
  must(Store::open(scratch / "h"));
  CHECK(Reader::open(scratch / "h", {}));
}

TEST_CASE("one writer at a time, and the second is told who the first is") {
  const TempFolder scratch;
  const auto file = scratch / "deep/h";
  auto store = must(Store::open(file));
  const auto second = Store::open(file);
  REQUIRE_FALSE(second);
  CHECK(second.error().kind == ErrorKind::busy);
  std::string name;
  std::getline(std::ifstream("/proc/self/comm") >> std::ws, name);
  CHECK(second.error().text == "process " + std::to_string(::getpid()) + " (" + name +
                                   ") writes this history now (lock " + lock_file(file).string() +
                                   "); stop it, or let it do this");
  store.reset();
  CHECK(Store::open(file));
}

TEST_CASE("the lock of a killed writer is free") {
  const TempFolder scratch;
  int ends[2] = {};
  REQUIRE(::pipe(ends) == 0);
  const pid_t child = ::fork();
  REQUIRE(child >= 0);
  if (child == 0) {
    const auto store = Store::open(scratch / "h");
    const char done = store ? 'y' : 'n';
    if (::write(ends[1], &done, 1) == 1) ::pause();
    ::_exit(1);
  }
  char done = 0;
  REQUIRE(::read(ends[0], &done, 1) == 1);
  CHECK(done == 'y');
  const auto busy = Store::open(scratch / "h");
  REQUIRE_FALSE(busy);
  CHECK(busy.error().text.starts_with("process " + std::to_string(child) + " ("));
  ::kill(child, SIGKILL);
  ::waitpid(child, nullptr, 0);
  ::close(ends[0]);
  ::close(ends[1]);
  CHECK(Store::open(scratch / "h"));
}

TEST_CASE("after kill -9 in mid-transaction the history is at the last commit") {
  const TempFolder scratch;
  const pid_t child = ::fork();
  REQUIRE(child >= 0);
  if (child == 0) {
    const auto store = Store::open(scratch / "h");
    if (!store) ::_exit(1);
    const bool good = (*store)->begin() && (*store)->put_reading(temperature(1, kEvening)) &&
                      (*store)->put_snapshot(1, "one") && (*store)->commit() && (*store)->begin() &&
                      (*store)->put_reading(temperature(2, kEvening + Duration(1))) &&
                      (*store)->put_snapshot(2, "two");
    if (good) ::kill(::getpid(), SIGKILL);
    ::_exit(1);
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  REQUIRE(WIFSIGNALED(status));
  const auto store = must(Store::open(scratch / "h"));
  CHECK(store->snapshot().sequence == 1);
  CHECK(store->newest_measured() == kEvening);
}

TEST_CASE("a full disk fails the step as a whole, and the same step succeeds when there is room") {
  const TempFolder scratch;
  const auto file = scratch / "h";
  const auto store = must(Store::open(file));
  must(store->put_snapshot(1, "one"));
  const auto step = [&]() -> tl::expected<void, Error> {
    if (auto begun = store->begin(); !begun) return begun;
    for (int i = 0; i < 20000; ++i) {
      const auto put = store->put_reading(temperature(i, kEvening + Duration(i)));
      if (!put) return tl::unexpected(put.error());
    }
    if (auto put = store->put_snapshot(2, "two"); !put) return put;
    return store->commit();
  };
  {
    const auto old_handler = ::signal(SIGXFSZ, SIG_IGN);
    rlimit old{};
    ::getrlimit(RLIMIT_FSIZE, &old);
    const rlimit small{200'000, old.rlim_max};
    ::setrlimit(RLIMIT_FSIZE, &small);
    const auto failed = step();
    REQUIRE_FALSE(failed);
    CAPTURE(failed.error().text);
    CHECK((failed.error().kind == ErrorKind::disk_full || failed.error().kind == ErrorKind::io));
    store->rollback();
    ::setrlimit(RLIMIT_FSIZE, &old);
    ::signal(SIGXFSZ, old_handler);
  }
  CHECK(store->snapshot().sequence == 1);
  CHECK_FALSE(store->newest_measured());
  must(step());
  CHECK(store->snapshot().sequence == 2);
  const auto reader = must(Reader::open(file, {}));
  CHECK(drain(*reader->readings("s1", Quantity::temperature, kNever, kAlways)).size() == 20000);
}

TEST_CASE("a damaged page is reported, and what was read before it is marked incomplete") {
  const TempFolder scratch;
  const auto file = scratch / "h";
  {
    const auto store = must(Store::open(file));
    must(store->begin());
    for (int i = 0; i < 5000; ++i) {
      must(store->put_reading(temperature(0.1 * i, kEvening + std::chrono::minutes(i))));
    }
    must(store->commit());
  }
  std::string bytes = file_bytes(file);
  REQUIRE(bytes.size() > 20 * 4096);
  // Half of the file's pages, from the middle on: the rows are there.
  for (std::size_t at = bytes.size() / 2; at < bytes.size(); ++at) bytes[at] = '\x55';
  write_bytes(file, bytes);
  const auto reader = must(Reader::open(file, {}));
  const auto readings = drain(*reader->readings("s1", Quantity::temperature, kNever, kAlways));
  CHECK(readings.size() < 5000);
  REQUIRE(reader->fault());
  CHECK(reader->fault()->kind == ErrorKind::corrupt);
}

}  // namespace
}  // namespace torpor::daemon
