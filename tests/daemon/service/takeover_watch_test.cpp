#include "daemon/service/takeover_watch.h"

#include <doctest/doctest.h>

using namespace std::chrono_literals;
using torpor::daemon::TakeoverWatch;

namespace {

TakeoverWatch::Time at_second(int second) {
  return TakeoverWatch::Time(std::chrono::hours(1)) + 1s * second;
}

TakeoverWatch both_up() {
  TakeoverWatch watch;
  watch.outgoing(true, at_second(0));
  watch.intake(true, at_second(0));
  return watch;
}

void lose_intake(TakeoverWatch& watch, int second) {
  watch.intake(false, at_second(second));
  watch.intake(true, at_second(second + 1));
}

}  // namespace

TEST_CASE("what the link is sure of is told at once, and once an hour at most") {
  TakeoverWatch watch = both_up();
  CHECK_FALSE(watch.take_notice(at_second(1)));
  watch.taken_over();
  CHECK(watch.take_notice(at_second(1)));
  CHECK_FALSE(watch.take_notice(at_second(2)));
  watch.taken_over();
  CHECK_FALSE(watch.take_notice(at_second(3600)));
  watch.taken_over();
  CHECK(watch.take_notice(at_second(3601)));
}

TEST_CASE("a session that is gone while the other connection stood is somebody's doing") {
  TakeoverWatch watch = both_up();
  lose_intake(watch, 10);
  watch.session_lost();
  CHECK(watch.take_notice(at_second(11)));
}

TEST_CASE("a broker that restarts takes both connections and every session, and is no intruder") {
  for (const int outgoing_lost : {9, 10, 11}) {
    TakeoverWatch watch = both_up();
    watch.intake(false, at_second(10));
    watch.outgoing(false, at_second(outgoing_lost));
    watch.outgoing(true, at_second(12));
    watch.intake(true, at_second(12));
    watch.session_lost();
    CHECK_FALSE(watch.take_notice(at_second(12)));
  }
}

TEST_CASE("the intake alone lost once or twice is the network, three times within 10 min is not") {
  TakeoverWatch watch = both_up();
  lose_intake(watch, 10);
  lose_intake(watch, 200);
  CHECK_FALSE(watch.take_notice(at_second(300)));
  SUBCASE("in time") {
    lose_intake(watch, 609);
    CHECK(watch.take_notice(at_second(610)));
  }
  SUBCASE("too late") {
    lose_intake(watch, 612);
    CHECK_FALSE(watch.take_notice(at_second(613)));
  }
}

TEST_CASE("while the outgoing connection is away nothing is concluded from the intake's losses") {
  TakeoverWatch watch = both_up();
  watch.outgoing(false, at_second(1));
  for (int i = 1; i < 9; ++i) lose_intake(watch, 10 * i);
  CHECK_FALSE(watch.take_notice(at_second(100)));
}
