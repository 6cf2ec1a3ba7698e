#include "daemon/report/verdict.h"

#include <doctest/doctest.h>

namespace torpor::daemon {
namespace {

using std::chrono::hours;

constexpr Instant kNow = Instant(hours(24 * 20000));

JarEvidence evidence() {
  JarEvidence evidence;
  evidence.now = kNow;
  evidence.closed = kNow - hours(24 * 60);
  evidence.watched = kWatched;
  evidence.coverage_percent = 100.0;
  evidence.highest_temperature = Celsius(21.34);
  return evidence;
}

}  // namespace

TEST_CASE("a jar settles for its first 14 days") {
  JarEvidence young = evidence();
  young.closed = kNow - kSettling + Duration(1);
  young.coverage_percent = 0.0;
  CHECK(judge(young) ==
        JarVerdict{JarState::settling,
                   {"It was closed 13 days ago.",
                    "In the first 14 days bubbling, sinking and a wet look are normal."}});
  young.closed = kNow - kSettling;
  CHECK(judge(young).state == JarState::unwatched);
}

TEST_CASE("a jar closed after the newest reading settles, too") {
  JarEvidence future = evidence();
  future.closed = kNow + hours(3);
  const JarVerdict verdict = judge(future);
  CHECK(verdict.state == JarState::settling);
  CHECK(verdict.reasons.front() == "It was closed after the newest reading came in.");
}

TEST_CASE("a jar with less than 75 % of trusted air is unwatched") {
  JarEvidence dim = evidence();
  dim.coverage_percent = 74.99;
  CHECK(judge(dim) ==
        JarVerdict{JarState::unwatched,
                   {"Sensors covered only 74 % of the last 7 days (75 % are needed): too little to "
                    "say anything of the air it stands in."}});
  dim.coverage_percent = 75.0;
  CHECK_FALSE(judge(dim).state.has_value());
}

TEST_CASE("a watched jar is not judged, and what is known is said") {
  const JarVerdict verdict = judge(evidence());
  CHECK_FALSE(verdict.state.has_value());
  REQUIRE(verdict.reasons.size() == 2);
  CHECK(
      verdict.reasons[0] ==
      "Not judged: this version has no model of the jar itself (its water, heat and growth). That "
      "is no sign that the jar sleeps.");
  CHECK(verdict.reasons[1] ==
        "What is known: sensors covered 100 % of the last 7 days; the air there was 21.3 °C at its "
        "warmest.");
}

TEST_CASE("a retired jar is retired whatever else holds") {
  JarEvidence gone = evidence();
  gone.closed = kNow - hours(24);
  gone.coverage_percent = 0.0;
  gone.retired_at = kNow - hours(5);
  CHECK(judge(gone) == JarVerdict{JarState::retired, {"It was retired 5 hours ago."}});
  gone.retired_at = kNow;
  CHECK(judge(gone).state == JarState::retired);
  gone.retired_at = kNow + Duration(1);
  CHECK(judge(gone).state == JarState::settling);
}

TEST_CASE("no evidence makes a jar dormant") {
  for (const double coverage : {0.0, 74.9, 75.0, 100.0}) {
    for (const int days : {0, 13, 14, 60, 3000}) {
      JarEvidence any = evidence();
      any.coverage_percent = coverage;
      any.closed = kNow - hours(24 * days);
      CHECK(judge(any).state != JarState::dormant);
      CHECK_FALSE(judge(any).reasons.empty());
    }
  }
}

TEST_CASE("durations are said in the largest unit that fits twice") {
  using std::chrono::minutes, std::chrono::seconds;
  CHECK(in_words(Duration(-5)) == "0 seconds");
  CHECK(in_words(Duration(999)) == "0 seconds");
  CHECK(in_words(seconds(1)) == "1 second");
  CHECK(in_words(seconds(119)) == "119 seconds");
  CHECK(in_words(minutes(2)) == "2 minutes");
  CHECK(in_words(minutes(119)) == "119 minutes");
  CHECK(in_words(hours(2)) == "2 hours");
  CHECK(in_words(hours(47)) == "47 hours");
  CHECK(in_words(hours(48)) == "2 days");
}

TEST_CASE("every state has the name that the design fixes") {
  CHECK(state_name(JarState::settling) == "settling");
  CHECK(state_name(JarState::dormant) == "dormant");
  CHECK(state_name(JarState::waking) == "waking");
  CHECK(state_name(JarState::due) == "due");
  CHECK(state_name(JarState::awake) == "awake");
  CHECK(state_name(JarState::doubtful) == "doubtful");
  CHECK(state_name(JarState::unwatched) == "unwatched");
  CHECK(state_name(JarState::retired) == "retired");
}

}  // namespace torpor::daemon
