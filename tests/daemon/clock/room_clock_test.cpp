#include "daemon/clock/room_clock.h"

#include <doctest/doctest.h>

namespace torpor::daemon {
namespace {

using std::chrono::days;
using std::chrono::hours;
using std::chrono::seconds;

constexpr Instant kNoon = std::chrono::sys_days(std::chrono::year(2026) / 12 / 1) + hours(12);

// A board that was started an hour before noon; its wall clock is wrong by `wrong`.
struct BoardClocks {
  Duration passed{};
  Duration wrong{};
  bool server = false;
  std::string boot = "first";

  [[nodiscard]] Instant right() const { return kNoon + passed; }
  [[nodiscard]] ClockLook look() const {
    return {right() + wrong, hours(1) + passed, server, boot};
  }
};

// Looks every 5 s, as the service does; what was seen on the way.
RoomClock::Seen go_on(RoomClock& clock, BoardClocks& board, Duration time) {
  RoomClock::Seen all;
  for (Duration passed{}; passed < time; passed += seconds(5)) {
    board.passed += seconds(5);
    const RoomClock::Seen seen = clock.look(board.look());
    if (seen.stepped) all.stepped = seen.stepped;
    if (seen.move) all.move = seen.move;
    all.came_back = all.came_back || seen.came_back;
  }
  return all;
}

// One that a server has kept for an hour.
RoomClock sure_clock(BoardClocks& board) {
  board.server = true;
  RoomClock clock(std::nullopt, board.look());
  (void)go_on(clock, board, hours(1));
  REQUIRE_FALSE(clock.unsure());
  return clock;
}

}  // namespace

TEST_CASE("a wall clock ten years ahead for 20 s is told once and moves nothing") {
  for (const Duration wrong : {Duration(days(3653)), Duration(days(1)), Duration(-days(1))}) {
    CAPTURE(wrong.count());
    BoardClocks board;
    RoomClock clock = sure_clock(board);
    board.wrong = wrong;
    const auto away = go_on(clock, board, seconds(20));
    CHECK(away.stepped == wrong);
    CHECK_FALSE(away.move);
    CHECK(clock.now(board.look()) == board.right());
    board.wrong = {};
    const auto back = go_on(clock, board, std::chrono::minutes(30));
    CHECK(back.came_back);
    CHECK_FALSE(back.stepped);
    CHECK_FALSE(back.move);
    CHECK(clock.now(board.look()) == board.right());
  }
}

TEST_CASE(
    "a leap is believed when it has stood for 15 min, and what it was held apart from moves") {
  BoardClocks board;
  RoomClock clock = sure_clock(board);
  const Instant seen_at = board.right() + seconds(5);
  board.wrong = hours(2);
  CHECK_FALSE(go_on(clock, board, std::chrono::minutes(15)).move);
  const auto seen = go_on(clock, board, seconds(5));
  REQUIRE(seen.move);
  CHECK(*seen.move == ClockMove{seen_at, hours(2)});
  CHECK(clock.now(board.look()) == board.right() + hours(2));
}

TEST_CASE("a leap that changes on the way begins to stand anew") {
  BoardClocks board;
  RoomClock clock = sure_clock(board);
  for (int i = 1; i <= 4; ++i) {
    board.wrong = hours(i);
    CHECK_FALSE(go_on(clock, board, std::chrono::minutes(10)).move);
  }
  CHECK(go_on(clock, board, std::chrono::minutes(6)).move);
}

TEST_CASE("a server is believed within a minute where nothing was sure, back to the start") {
  BoardClocks board;
  board.wrong = days(3653);
  RoomClock clock(std::nullopt, board.look());
  CHECK(clock.unsure());
  CHECK(clock.now(board.look()) == board.right() + days(3653));
  (void)go_on(clock, board, std::chrono::minutes(10));
  board.wrong = {};
  board.server = true;
  CHECK_FALSE(go_on(clock, board, std::chrono::minutes(1)).move);
  const auto seen = go_on(clock, board, seconds(5));
  REQUIRE(seen.move);
  // Nothing was stamped between now and then: from now on is the same as from the start on.
  CHECK(seen.move->by == -days(3653));
  CHECK(seen.move->from <= kNoon + days(3653));
  CHECK(seen.move->from >= board.right());
  CHECK_FALSE(clock.unsure());
  CHECK(clock.now(board.look()) == board.right());
}

TEST_CASE("a server that is wrong for 20 s at the start moves nothing") {
  BoardClocks board;
  RoomClock clock(std::nullopt, board.look());
  board.server = true;
  board.wrong = days(3653);
  CHECK_FALSE(go_on(clock, board, seconds(20)).move);
  board.wrong = {};
  CHECK_FALSE(go_on(clock, board, std::chrono::minutes(5)).move);
  CHECK(clock.now(board.look()) == board.right());
}

TEST_CASE("a clock that drifts is followed, never back, and one that runs away is held apart") {
  BoardClocks board;
  RoomClock clock = sure_clock(board);
  Instant last = clock.now(board.look());
  // 100 parts in a million, much for a crystal, for two days.
  for (int i = 0; i < 2 * 1440; ++i) {
    board.passed += std::chrono::minutes(1);
    board.wrong += Duration(6);
    CHECK_FALSE(clock.look(board.look()).move);
    CHECK(clock.now(board.look()) >= last);
    last = clock.now(board.look());
  }
  CHECK(std::chrono::abs(last - (board.right() + board.wrong)) < seconds(1));
  // A server that takes 20 s back: the time waits for it.
  board.wrong -= seconds(20);
  for (int i = 0; i < 30; ++i) {
    board.passed += std::chrono::minutes(1);
    CHECK_FALSE(clock.look(board.look()).stepped);
    CHECK(clock.now(board.look()) >= last);
    last = clock.now(board.look());
  }
  CHECK(std::chrono::abs(last - (board.right() + board.wrong)) < seconds(2));
  // A second more with each second: no clock does that.
  bool stepped = false;
  for (int i = 0; i < 30; ++i) {
    board.passed += seconds(5);
    board.wrong += seconds(5);
    stepped = stepped || clock.look(board.look()).stepped.has_value();
  }
  CHECK(stepped);
  CHECK(clock.now(board.look()) < board.right() + board.wrong - seconds(60));
}

TEST_CASE("a restart on the same board goes on by the steady clock") {
  BoardClocks board;
  RoomClock clock = sure_clock(board);
  const KeptClock kept = clock.keep(board.look());
  CHECK(kept_clock_from(to_text(kept)) == kept);
  board.passed += std::chrono::minutes(5);
  board.wrong = days(3653);
  RoomClock again(kept, board.look());
  CHECK(again.now(board.look()) == board.right());
  CHECK_FALSE(again.unsure());
  CHECK(go_on(again, board, seconds(5)).stepped == Duration(days(3653)));
}

TEST_CASE("what a start makes of a wall clock, by what was kept and whether a server keeps it") {
  struct Row {
    const char* what;
    Duration off;  // since the last stamp, by the wall clock
    bool server;
    Duration begins;  // after the last stamp
  };
  const Row rows[] = {
      {"a short rest", std::chrono::minutes(10), false, std::chrono::minutes(10)},
      {"a day's rest", hours(24), false, hours(24)},
      {"more, and no server", hours(25), false, {}},
      {"ten years, and no server", days(3653), false, {}},
      {"sixty days, and a server says so", days(60), true, days(60)},
      {"a board without a clock chip", -days(300), false, {}},
      {"behind what was stamped, whoever says so", -days(300), true, {}},
  };
  for (const Row& row : rows) {
    CAPTURE(row.what);
    const KeptClock kept{"before", hours(500), kNoon, std::nullopt};
    BoardClocks board;
    board.wrong = row.off;
    board.server = row.server;
    RoomClock clock(kept, board.look());
    CHECK(clock.now(board.look()) == kNoon + row.begins);
    CHECK(clock.unsure());
  }
}

TEST_CASE("a board without a clock chip is moved on from where it began, not its past") {
  const KeptClock kept{"before", hours(500), kNoon, std::nullopt};
  BoardClocks board;
  board.wrong = -days(300);
  RoomClock clock(kept, board.look());
  (void)go_on(clock, board, std::chrono::minutes(3));
  board.wrong = days(2);  // it was off for two days
  board.server = true;
  const auto seen = go_on(clock, board, std::chrono::minutes(2));
  REQUIRE(seen.move);
  CHECK(*seen.move == ClockMove{kNoon, days(2)});
}

TEST_CASE("stamps of an earlier run that lie ahead come back once the right time is known") {
  // As a version without this clock left them: nothing is known of when it went wrong.
  const KeptClock kept{"", {}, kNoon + days(3653), std::nullopt};
  BoardClocks board;
  board.server = true;
  RoomClock clock(kept, board.look());
  const auto seen = go_on(clock, board, std::chrono::minutes(2));
  REQUIRE(seen.move);
  CHECK(seen.move->by == -days(3653));
  CHECK(seen.move->from <= kNoon + std::chrono::minutes(2));
  CHECK(clock.now(board.look()) == board.right());
}

TEST_CASE("a clock from before this program is no time to begin with") {
  BoardClocks board;
  board.wrong = instant_of(0) - kNoon;
  RoomClock clock(std::nullopt, board.look());
  CHECK(clock.now(board.look()) == RoomClock::kEarliest);
  CHECK_FALSE(go_on(clock, board, std::chrono::minutes(40)).move);
  board.wrong = {};
  CHECK(go_on(clock, board, std::chrono::minutes(16)).move);
}

TEST_CASE("what is no kept clock is none") {
  for (const char* text : {"", "{}", "[]", R"({"boot":1})", "nonsense"}) {
    CHECK_FALSE(kept_clock_from(text));
  }
}

}  // namespace torpor::daemon
