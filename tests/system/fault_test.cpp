// Disks that fail under the running service: it goes on watching, says so once, and recovers by
// itself.
#include <doctest/doctest.h>
#include <sys/resource.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <set>

#include "tests/system/room.h"

using namespace torpor;
using namespace torpor::testing;

namespace {

// A message with two readings takes 110 bytes in the inbox: its file reaches the limit in the
// middle of the minutes, and what comes then still fits into a spool file.
constexpr rlim_t kFullDisk = 60'000;
constexpr int kMinutes = 1000;

// The largest file that the running service may write, as a full disk would have it: what stands
// already in the history and its log cannot grow, a small new file in memory-backed storage can.
void limit_files(Room& room, rlim_t bytes) {
  rlimit limit{};
  REQUIRE(::prlimit(room.service().id(), RLIMIT_FSIZE, nullptr, &limit) == 0);
  limit.rlim_cur = bytes;
  REQUIRE(::prlimit(room.service().id(), RLIMIT_FSIZE, &limit, nullptr) == 0);
}

void say_minutes(const Room& room, int from, int to, double celsius) {
  std::vector<std::string> lines;
  for (int minute = from; minute < to; ++minute) {
    lines.push_back(Room::json_line(kFirst + std::chrono::minutes(minute), celsius, 60));
  }
  raw_publish_lines(room.broker(), "room/s1", lines);
}

bool has_once(const Room& room, std::size_t minutes) {
  return wait_until(
      [&] {
        std::set<std::pair<Quantity, Instant>> moments;
        const auto readings = room.readings();
        for (const Reading& reading : readings) {
          moments.emplace(reading.quantity, reading.measured_at);
        }
        return readings.size() == 2 * minutes && moments.size() == readings.size();
      },
      std::chrono::seconds(30));
}

}  // namespace

TEST_CASE("a full disk is told once, watching goes on, and all is written when there is room") {
  Room room({.rules = kWarmRule});
  room.start();
  const RawSubscriber notices(room.broker(), "torpor/cellar/notice");
  say_minutes(room, 0, 30, 23.0);
  REQUIRE(has_once(room, 30));
  limit_files(room, kFullDisk);
  say_minutes(room, 30, kMinutes - 30, 23.0);
  say_minutes(room, kMinutes - 30, kMinutes, 29.0);  // an alert, which cannot be committed
  CHECK(wait_until([&] { return said(notices, "cannot write its history") > 0; }));
  CHECK(wait_until([&] { return said(notices, "warm") > 0; }));
  CHECK(has_once(room, kMinutes));  // from the inbox and the spool
  limit_files(room, RLIM_INFINITY);
  CHECK(wait_until([&] { return said(notices, "writes its history again") > 0; },
                   std::chrono::seconds(20)));
  say_minutes(room, kMinutes, kMinutes + 10, 23.0);
  CHECK(room.stop().code == 0);
  CHECK(has_once(room, kMinutes + 10));
  CHECK(said(notices, "cannot write its history") == 1);
  CHECK(said(notices, "writes its history again") == 1);
}

TEST_CASE("a service killed while the disk is full loses nothing that it had acknowledged") {
  Room room({.rules = kWarmRule});
  room.start();
  say_minutes(room, 0, 30, 23.0);
  REQUIRE(has_once(room, 30));
  limit_files(room, kFullDisk);
  say_minutes(room, 30, kMinutes, 23.0);
  REQUIRE(has_once(room, kMinutes));
  room.kill();
  room.start();
  CHECK(has_once(room, kMinutes));
  CHECK(room.stop().code == 0);
}

TEST_CASE("a disk that turns read-only is told once, watching goes on, and nothing is lost") {
  if (!Room::can_be_unkind()) return;
  Room room({.rules = kWarmRule, .unkind = true});
  room.start();
  const RawSubscriber notices(room.broker(), "torpor/cellar/notice");
  say_minutes(room, 0, 30, 23.0);
  REQUIRE(has_once(room, 30));
  room.make_read_only(true);
  say_minutes(room, 30, 60, 29.0);  // an alert, which cannot be committed
  CHECK(wait_until([&] { return said(notices, "cannot write its history") > 0; }));
  CHECK(wait_until([&] { return said(notices, "warm") > 0; }));
  CHECK(has_once(room, 60));
  room.make_read_only(false);
  CHECK(wait_until([&] { return said(notices, "writes its history again") > 0; }));
  say_minutes(room, 60, 70, 29.0);
  CHECK(room.stop().code == 0);
  CHECK(has_once(room, 70));
  CHECK(said(notices, "cannot write its history") == 1);
}

TEST_CASE("with the spool nearly full the session queues, and all is taken when the disk is back") {
  // 110 bytes each in the inbox, two readings: the spool is nearly full at 7 MiB (inbox.h).
  constexpr int kMany = 68'000;
  if (!Room::can_be_unkind()) return;
  Room room({.unkind = true});
  room.start();
  const RawSubscriber notices(room.broker(), "torpor/cellar/notice");
  room.make_read_only(true);
  say_minutes(room, 0, kMany, 23.0);  // the broker takes them all, though we do not
  CHECK(room.service_says("stopped taking messages"));
  CHECK(said(notices, "cannot write its history") == 1);
  CHECK(room.readings().size() < 2u * kMany);
  room.make_read_only(false);
  CHECK(room.service_says("taking messages again"));
  CHECK(has_once(room, kMany));
  CHECK(room.stop().code == 0);
  CHECK(said(notices, "cannot write its history") == 1);
  CHECK(said(notices, "writes its history again") == 1);
}

TEST_CASE("a history damaged while the service was down is set aside, and readings go on") {
  Room room;
  room.start();
  say_minutes(room, 0, 30, 23.0);
  REQUIRE(has_once(room, 30));
  room.stop();
  const auto bytes = std::filesystem::file_size(room.history_file());
  std::filesystem::resize_file(room.history_file(), bytes / 2 / 4096 * 4096);
  const RawSubscriber notices(room.broker(), "torpor/cellar/notice");
  room.start();
  CHECK(wait_until([&] { return said(notices, "The history was damaged") > 0; }));
  say_minutes(room, 30, 40, 23.0);
  // Besides these come those of before that the inbox still holds.
  CHECK(wait_until([&] {
    const auto readings = room.readings();
    return std::ranges::count_if(readings, [](const Reading& reading) {
             return reading.measured_at >= kFirst + std::chrono::minutes(30);
           }) == 20;
  }));
  CHECK(room.stop().code == 0);
  std::size_t kept = 0;
  for (const auto& entry : std::filesystem::directory_iterator(room.folder())) {
    const std::string name = entry.path().filename().string();
    if (name.find(".damaged-") != std::string::npos && !name.ends_with("-wal") &&
        !name.ends_with("-shm")) {
      CHECK(entry.file_size() == bytes / 2 / 4096 * 4096);
      ++kept;
    }
  }
  CHECK(kept == 1);
}

TEST_CASE(
    "a history that is gone is told and stood in for, and taken back when it is there again") {
  Room room({.rules = kWarmRule});
  room.start();
  REQUIRE(room.torpor({"tell", "new jar B-07 in cellar/shelf-1 stage IMO-2"}).code == 0);
  say_minutes(room, 0, 30, 23.0);
  REQUIRE(has_once(room, 30));
  REQUIRE(room.stop().code == 0);
  const std::string away = room.folder() + "/elsewhere";
  std::filesystem::rename(room.history_file(), away);
  // A stopped service: the command does not show an empty store room.
  const CommandResult alone = room.torpor({"jars"});
  CHECK(alone.code == 1);
  CHECK(alone.output.find("is missing, and it was there before") != std::string::npos);

  const RawSubscriber notices(room.broker(), "torpor/cellar/notice");
  room.start();
  CHECK(wait_until([&] { return said(notices, "The history is away: ") > 0; }));
  say_minutes(room, 30, 60, 29.0);
  CHECK(wait_until([&] { return said(notices, "warm") > 0; }));
  const CommandResult meanwhile = room.torpor({"jars"});
  CHECK(meanwhile.code == 0);
  CHECK(meanwhile.output.find("torpor: The history is away: ") != std::string::npos);
  CHECK(meanwhile.output.find("B-07") != std::string::npos);  // from the copy
  CHECK_FALSE(std::filesystem::exists(room.history_file()));

  std::filesystem::rename(away, room.history_file());
  CHECK(wait_until([&] { return said(notices, "has its history back") > 0; },
                   std::chrono::seconds(30)));
  say_minutes(room, 60, 70, 29.0);
  CHECK(has_once(room, 70));
  CHECK(room.stop().code == 0);
  CHECK(has_once(room, 70));
  CHECK(said(notices, "The history is away: ") == 1);
}

TEST_CASE(
    "a disk that is read-only at the start is told once, watched through, and caught up with") {
  if (!Room::can_be_unkind()) return;
  Room room({.rules = kWarmRule, .unkind = true});
  room.start();
  say_minutes(room, 0, 30, 23.0);
  REQUIRE(has_once(room, 30));
  room.kill();
  room.make_read_only(true);
  const RawSubscriber notices(room.broker(), "torpor/cellar/notice");
  room.start();
  CHECK(wait_until([&] { return said(notices, "cannot be written: ") > 0; }));
  say_minutes(room, 30, 60, 29.0);
  CHECK(wait_until([&] { return said(notices, "warm") > 0; }));
  room.make_read_only(false);
  CHECK(wait_until([&] { return said(notices, "has its history back") > 0; },
                   std::chrono::seconds(30)));
  say_minutes(room, 60, 70, 29.0);
  CHECK(has_once(room, 70));
  CHECK(room.stop().code == 0);
  CHECK(has_once(room, 70));
  CHECK(said(notices, "The history is away: ") == 1);
}

TEST_CASE("a damaged board is restored from its nightly copy, and what was there is kept") {
  Room room;
  room.start();
  REQUIRE(room.torpor({"tell", "new jar B-07 in cellar/shelf-1 stage IMO-2"}).code == 0);
  say_minutes(room, 0, 30, 23.0);
  REQUIRE(has_once(room, 30));
  const CommandResult running = room.torpor({"restore"});
  CHECK(running.code == 1);
  CHECK(running.output.find("nothing was changed") != std::string::npos);
  REQUIRE(room.stop().code == 0);
  {
    // The first page, and with it every table, is gone.
    std::fstream file(room.history_file(), std::ios::in | std::ios::out | std::ios::binary);
    file << std::string(4096, '\0');
  }
  const CommandResult restored = room.torpor({"restore"});
  CAPTURE(restored.output);
  CHECK(restored.code == 0);
  CHECK(restored.output.find("1 jar, 1 journal entry") != std::string::npos);
  CHECK(restored.output.find("60 single readings") != std::string::npos);
  CHECK(restored.output.find("what was there is kept as ") != std::string::npos);
  const RawSubscriber notices(room.broker(), "torpor/cellar/notice");
  room.start();
  CHECK(room.torpor({"jars"}).output.find("B-07") != std::string::npos);
  CHECK(has_once(room, 30));
  CHECK(room.stop().code == 0);
  CHECK(said(notices, "The history") == 0);

  // A new board: nothing but the copy.
  std::string copy;
  for (const auto& entry : std::filesystem::directory_iterator(room.history_file() + ".copies")) {
    copy = entry.path();
  }
  const std::string text = [&] {
    std::ifstream file(room.config_file());
    return std::string{std::istreambuf_iterator<char>(file), {}};
  }();
  const std::string board = room.folder() + "/board";
  std::filesystem::create_directory(board);
  ChildProcess command({TORPOR_BINARY, "--config", board + "/torpor.yaml", "restore", copy});
  REQUIRE(command.wait());
  std::ifstream brought(board + "/torpor.yaml");
  CHECK(std::string{std::istreambuf_iterator<char>(brought), {}} == text);
  CHECK(std::filesystem::exists(board + "/history.sqlite3"));
}

TEST_CASE("--check says what a power cut costs, and where the nightly copies go") {
  Room room({.broker_runs = false});
  const auto plan = [&] {
    ChildProcess check({TORPORD_BINARY, "--config", room.config_file(), "--check"});
    REQUIRE(check.wait());
    std::string text;
    for (const std::string& line : check.lines()) text += line + "\n";
    return text;
  };
  CHECK(plan().find("survives: crash: a power cut loses the readings of the last minute at most") !=
        std::string::npos);
  CHECK(plan().find("nightly copy: in " + room.history_file() + ".copies\n") != std::string::npos);
  std::ifstream file(room.config_file());
  std::string text{std::istreambuf_iterator<char>(file), {}};
  const std::string history = "history.sqlite3";
  text.replace(text.find(history), history.size(), history + ", survives: power-cut, copy: stick");
  room.write("torpor.yaml", text);
  CHECK(plan().find("survives: power-cut: a power cut loses nothing") != std::string::npos);
  CHECK(plan().find(" and in " + room.folder() + "/stick\n") != std::string::npos);
}

TEST_CASE("a history is begun anew only by whoever says so, and the one before is kept") {
  Room room;
  room.start();
  REQUIRE(room.torpor({"tell", "new jar B-07 in cellar/shelf-1 stage IMO-2"}).code == 0);
  const auto begin_anew = [&] {
    ChildProcess command({TORPORD_BINARY, "--config", room.config_file(), "--new-history"});
    const auto ending = command.wait();
    REQUIRE(ending);
    return ending->code.value_or(-1);
  };
  CHECK(begin_anew() == 1);  // while it runs
  REQUIRE(room.stop().code == 0);
  CHECK(begin_anew() == 0);
  const RawSubscriber notices(room.broker(), "torpor/cellar/notice");
  room.start();
  const CommandResult jars = room.torpor({"jars"});
  CAPTURE(jars.output);
  CHECK(jars.output.find("B-07") == std::string::npos);
  CHECK(room.stop().code == 0);
  CHECK(said(notices, "The history") == 0);
  const auto kept = [&] {
    for (const auto& entry : std::filesystem::directory_iterator(room.folder())) {
      const std::string name = entry.path().filename().string();
      if (name.starts_with("history.sqlite3.set-aside-") && !name.ends_with("-wal") &&
          !name.ends_with("-shm")) {
        return entry.path().string();
      }
    }
    return std::string();
  }();
  REQUIRE_FALSE(kept.empty());
  REQUIRE(room.torpor({"restore", kept}).code == 0);
  CHECK(room.torpor({"jars"}).output.find("B-07") != std::string::npos);
}
