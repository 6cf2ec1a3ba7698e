// When conditions are met and no longer met: one table for each of hold, lasting, until, unknown,
// late readings and backlogs. Stories are explained in story.h.
#include <doctest/doctest.h>

#include "tests/rules/watch/story.h"

namespace torpor::rules {
namespace {

struct Row {
  const char* name;
  const char* when;
  const char* until;
  const char* story;
  const char* expected;
};

void check_rows(std::initializer_list<Row> rows, const char* concerns = "place") {
  for (const Row& row : rows) {
    CAPTURE(std::string(row.name));
    Watch watch(settings_of({a_rule("r", concerns, row.when, row.until)}));
    CHECK(changes_text(tell(watch, row.story)) == row.expected);
  }
}

TEST_CASE("a value holds until the sensor's next reading, at most its hold, then it is unknown") {
  check_rows({
      {"above is strict", "temperature above 27 °C", "", "0 s:t27; 1 s:t27.1", "1 raised r cellar"},
      {"at least is not", "temperature at least 27 °C", "", "0 s:t26.9; 1 s:t27",
       "1 raised r cellar"},
      {"below is strict", "temperature below 10 °C", "", "0 s:t10; 1 s:t9.9", "1 raised r cellar"},
      {"at most is not", "temperature at most 10 °C", "", "0 s:t10.1; 1 s:t10",
       "1 raised r cellar"},
      {"between holds its ends", "humidity between 40 % and 60 %", "",
       "0 s:t20 s:h39.9; 1 s:h40; 2 s:h60; 3 s:h60.1; 20 tick", "1 raised r cellar"},
      {"the last minute of the hold counts", "temperature above 27 °C lasting 29 min", "",
       "0 s:t28; 60 tick", "29 raised r cellar"},
      {"the end of the hold does not", "temperature above 27 °C lasting 30 min", "",
       "0 s:t28; 60 tick", ""},
      {"a successor in time carries on", "temperature above 27 °C lasting 40 min", "",
       "0 s:t28; 20 s:t28; 60 tick", "40 raised r cellar"},
      {"an impossible value holds nothing and ends nothing",
       "temperature above 27 °C lasting 25 min", "", "0 s:t28; 10 s:x; 60 tick",
       "25 raised r cellar"},
      {"humidity needs the temperature of its own sensor", "humidity above 80 %", "",
       "0 s1:h90; 5 s:t20; 10 s1:t20", "10 raised r cellar/shelf-1"},
      {"the dew point of 20 °C at 90 % is 18.3 °C", "dew point above 18 °C", "",
       "0 s:t20 s:h80; 1 s:h90", "1 raised r cellar"},
  });
}

TEST_CASE("lasting is met at its start plus its length, by timer") {
  check_rows({
      {"without a further reading", "temperature above 27 °C lasting 10 min", "",
       "0 s:t28; 20 tick", "10 raised r cellar"},
      {"a reading at that very moment comes first", "temperature above 27 °C lasting 10 min", "",
       "0 s:t28; 10 s:t26; 40 tick", ""},
      {"a moment later it is met", "temperature above 27 °C lasting 10 min", "",
       "0 s:t28; 10.1 s:t26; 15 tick", "10 raised r cellar"},
      {"false starts it again", "temperature above 27 °C lasting 10 min", "",
       "0 s:t28; 9 s:t26; 10 s:t28; 25 tick", "20 raised r cellar"},
      {"unknown starts it again", "temperature above 27 °C lasting 40 min", "",
       "0 s:t28; 35 s:t28; 60 s:t28; 90 tick", "75 raised r cellar"},
      {"it binds to its comparison",
       "temperature above 27 °C lasting 10 min and humidity above 80 %", "",
       "0 s:t28 s:h70; 15 s:h90; 16 tick", "15 raised r cellar"},
      {"or to a group", "(temperature above 27 °C and humidity above 80 %) lasting 10 min", "",
       "0 s:t28 s:h70; 15 s:h90; 40 tick", "25 raised r cellar"},
      {"a group of either does not start again when they change places",
       "(temperature above 27 °C or humidity above 80 %) lasting 10 min", "",
       "0 s:t28 s:h70; 5 s:t26 s:h90; 12 tick", "10 raised r cellar"},
      {"not of a lasting is met until it has lasted",
       "not temperature below 20 °C lasting 10 min and humidity above 80 %", "",
       "0 s:t15 s:h90; 1 tick", "0 raised r cellar"},
  });
}

TEST_CASE("until ends it; without one, when is false by its margin for ten minutes") {
  check_rows({
      {"until at its own limit", "temperature above 27 °C", "temperature below 25.5 °C",
       "0 s:t28; 10 s:t25.5; 20 s:t25.4", "0 raised r cellar; 20 eased r cellar"},
      {"until with a lasting", "temperature above 27 °C",
       "temperature below 25.5 °C lasting 20 min", "0 s:t28; 10 s:t25; 40 tick",
       "0 raised r cellar; 30 eased r cellar"},
      {"when wins while both hold", "temperature above 27 °C", "humidity below 50 %",
       "0 s:t28 s:h40; 10 s:t26 s:h40", "0 raised r cellar; 10 eased r cellar"},
      {"by default inside the margin is not enough", "temperature above 27 °C", "",
       "0 s:t28; 10 s:t26.6; 35 s:t26.6; 60 tick", "0 raised r cellar"},
      {"by default at the margin, ten minutes later", "temperature above 27 °C", "",
       "0 s:t28; 10 s:t26.5; 35 tick", "0 raised r cellar; 20 eased r cellar"},
      {"by default a peak over the margin starts the ten minutes again",
       "temperature above 27 °C lasting 5 min", "",
       "0 s:t28; 10 s:t26; 15 s:t27.5; 17 s:t26; 40 tick", "5 raised r cellar; 27 eased r cellar"},
      {"by default either of two that must hold together is enough",
       "temperature above 27 °C and humidity above 80 %", "",
       "0 s:t28 s:h90; 10 s:t28 s:h70; 30 tick", "0 raised r cellar; 20 eased r cellar"},
      {"by default both of two alternatives are needed",
       "temperature above 27 °C or humidity above 80 %", "",
       "0 s:t28 s:h90; 10 s:t28 s:h70; 25 s:t20 s:h70; 40 tick",
       "0 raised r cellar; 35 eased r cellar"},
  });
}

TEST_CASE("unknown neither raises nor eases") {
  check_rows({
      {"silence does not ease", "temperature above 27 °C", "", "0 s:t28; 600 tick",
       "0 raised r cellar"},
      {"unknown stops the clock of the easing side and does not set it back",
       "temperature above 27 °C", "temperature below 25 °C lasting 40 min",
       "0 s:t28; 10 s:t24; 100 s:t24; 120 tick", "0 raised r cellar; 110 eased r cellar"},
      {"false sets it back", "temperature above 27 °C", "temperature below 25 °C lasting 40 min",
       "0 s:t28; 10 s:t24; 100 s:t26; 101 s:t24; 126 s:t24; 150 tick",
       "0 raised r cellar; 141 eased r cellar"},
      {"unknown and false is false, so the other side can ease", "temperature above 27 °C",
       "temperature below 25 °C and humidity below 70 %", "0 s1:t28; 10 s1:t24; 15 s1:h60",
       "0 raised r cellar/shelf-1; 15 eased r cellar/shelf-1"},
      {"unknown or true is true", "temperature above 27 °C or humidity above 80 %", "", "0 s:t28",
       "0 raised r cellar"},
      {"unknown and true is unknown", "temperature above 27 °C and humidity above 80 %", "",
       "0 s:t28; 5 tick", ""},
      {"not unknown is unknown", "not humidity below 80 %", "", "0 s:t28; 5 s:h90",
       "5 raised r cellar"},
  });
}

TEST_CASE("a late reading steps its subjects again, as far back as an hour") {
  check_rows({
      {"it interrupts a lasting that was met since", "temperature above 27 °C lasting 20 min",
       "temperature below 25 °C", "0 s:t28; 15 s:t28; 18 s:t20@10; 25 tick; 36 tick",
       "35 raised r cellar"},
      {"it fills a gap", "temperature above 27 °C lasting 50 min", "",
       "0 s:t28; 40 s:t28; 45 s:t28@20; 55 tick", "50 raised r cellar"},
      {"an alert is not ended in the past", "temperature above 27 °C", "temperature below 25 °C",
       "0 s:t28; 20 s:t28; 30 s:t20@10", "0 raised r cellar"},
      {"nor raised in it", "temperature above 27 °C", "temperature below 25 °C",
       "0 s:t20; 20 s:t20; 30 s:t28@10", ""},
      {"what it shows to be met now is raised now", "temperature above 27 °C lasting 40 min", "",
       "0 s:t28; 50 s:t28; 55 s:t28@25; 58 tick", "55 raised r cellar"},
      {"an hour back counts", "temperature above 27 °C lasting 60 min", "",
       "0 s:t20; 60 s:t28; 85 s:t28; 85 s:t28@25; 86 s:t28@45; 104 tick", "86 raised r cellar"},
      {"more does not", "temperature above 27 °C lasting 60 min", "",
       "0 s:t20; 60 s:t28; 85 s:t28; 85 s:t28@24.9; 86 s:t28@45; 104 tick", ""},
      {"the same reading again changes nothing", "temperature above 27 °C lasting 20 min", "",
       "0 s:t28; 10 s:t28; 15 s:t28@0; 16 s:t28@10; 25 tick", "20 raised r cellar"},
      {"another value for a time that has one changes nothing",
       "temperature above 27 °C lasting 20 min", "", "0 s:t28; 10 s:t28; 15 s:t20@0; 25 tick",
       "20 raised r cellar"},
  });
}

TEST_CASE("a backlog in order is stepped at its own times, and what stands at its end is told") {
  check_rows({
      {"what stands at its end is raised once, at its arrival",
       "temperature above 27 °C lasting 20 min", "", "0 s:t20; 300 s:t28@250 s:t28@270 s:t28@290",
       "300 raised r cellar"},
      {"message by message it stands only once the end is near enough",
       "temperature above 27 °C lasting 20 min", "",
       "0 s:t20; 300 s:t28@250; 300 s:t28@270; 300 s:t28@290; 301 tick", "300 raised r cellar"},
      {"a warm spell that has passed is not told", "temperature above 27 °C lasting 20 min",
       "temperature below 25 °C", "0 s:t20; 300 s:t28@200 s:t28@225 s:t20@250 s:t20@275 s:t20@299",
       ""},
      {"the silence before it came is no gap in it", "temperature above 27 °C lasting 40 min", "",
       "0 s:t28; 300 s:t28@25 s:t28@299; 301 tick", "300 raised r cellar"},
      {"a gap within it is one", "temperature above 27 °C lasting 45 min", "",
       "0 s:t28; 300 s:t28@200 s:t28@240 s:t28@280; 301 tick", ""},
      {"what a held value raised eases when the backlog tells otherwise",
       "temperature above 27 °C lasting 20 min", "", "0 s:t28; 5 s:t28; 300 s:t20@10",
       "20 raised r cellar; 300 eased r cellar"},
      {"an alert that stood goes on standing when the backlog ends as it began",
       "temperature above 27 °C", "temperature below 25 °C",
       "0 s:t28; 300 s:t20@20 s:t28@40 s:t28@60; 301 tick", "0 raised r cellar"},
      {"since says when it was met", "temperature above 27 °C lasting 20 min", "",
       "0 s:t20; 300 s:t28@250 s:t28@275 s:t28@299", "300 raised r cellar"},
  });
  Watch watch(settings_of({a_rule("r", "place", "temperature above 27 °C lasting 20 min")}));
  const Effects effects = tell(watch, "0 s:t20; 300 s:t28@250 s:t28@275 s:t28@299");
  REQUIRE(effects.changes.size() == 1);
  CHECK(minute_text(effects.changes[0].alert.since) == "270");
  CHECK(minute_text(effects.changes[0].alert.raised_at) == "300");
}

TEST_CASE("a nearer sensor speaks first and one farther up stands in for it") {
  check_rows({
      {"each place by its own", "temperature above 27 °C", "", "0 s:t28 s1:t20; 1 s1:t29",
       "0 raised r cellar"},
      {"the outside is no stand-in for a room", "temperature above 27 °C", "", "0 o:t35",
       "0 raised r outside"},
      {"another place by name", "temperature at outside above 27 °C and temperature above 20 °C",
       "", "0 s2:t21 s1:t19 s:t18; 5 o:t28", "5 raised r outside; 5 raised r cellar/shelf-2"},
  });
}

TEST_CASE("a difference is known while both its sides are") {
  const char* const warmer = "temperature minus temperature at outside above 3 K";
  check_rows({
      {"one side alone is unknown", warmer, "", "0 s:t30; 5 tick", ""},
      {"strictly above", warmer, "", "0 s:t30 o:t27; 5 o:t26.9", "5 raised r cellar"},
      {"either side can change it", warmer, "", "0 s:t29 o:t27; 5 s:t30.1", "5 raised r cellar"},
      {"it may be negative", "temperature minus temperature at outside below -3 K", "",
       "0 s:t20 o:t24", "0 raised r cellar"},
      {"unknown when the other side falls silent does not ease",
       "temperature minus temperature at outside above 3 K", "", "0 s:t30 o:t20; 20 s:t30; 50 tick",
       "0 raised r cellar"},
      {"by default it eases half a kelvin below", warmer, "", "0 s:t30 o:t26; 5 s:t28.5; 20 tick",
       "0 raised r cellar; 15 eased r cellar"},
      {"of dew points", "dew point minus dew point at outside above 1 K lasting 5 min", "",
       "0 s:t20 s:h80 o:t20 o:h60; 9 tick", "5 raised r cellar"},
  });
}

TEST_CASE("a jar's air is that of where it stands, move by move") {
  check_rows(
      {
          {"its place's", "temperature above 27 °C", "", "0 +B=cellar/shelf-1; 1 s1:t28 s:t20",
           "1 raised r B"},
          {"the place above stands in when the near sensor falls silent", "temperature above 27 °C",
           "", "0 +B=cellar/shelf-1 s1:t20; 20 s:t28; 31 tick", "30 raised r B"},
          {"what lasts goes on over a move", "temperature above 27 °C lasting 20 min", "",
           "0 +B=cellar/shelf-1 s1:t28 s2:t28; 10 +B=cellar/shelf-2; 25 tick", "20 raised r B"},
          {"a move told late counts from when it was", "temperature above 27 °C lasting 20 min", "",
           "0 +B=cellar/shelf-1 s1:t20 s2:t28; 15 s1:t20; 25 +B=cellar/shelf-2@5; 26 tick",
           "25 raised r B"},
          {"a move told in advance counts when it comes", "temperature above 27 °C", "",
           "0 +B=cellar/shelf-1 s1:t20 s2:t28; 1 +B=cellar/shelf-2@10; 12 tick", "10 raised r B"},
          {"a retired jar's alert ends", "temperature above 27 °C", "",
           "0 +B=cellar/shelf-1 s1:t28; 5 -B; 9 s1:t29", "0 raised r B; 5 ended r B"},
          {"retired in advance", "temperature above 27 °C", "",
           "0 +B=cellar/shelf-1 s1:t28; 5 -B@8; 9 s1:t29", "0 raised r B; 8 ended r B"},
          {"a jar nowhere near a sensor knows nothing", "temperature above 27 °C", "",
           "0 +B=attic s:t30 o:t30; 9 tick", ""},
      },
      "jar");
}

TEST_CASE("silence is counted from the newest reading, or from when the watch knew the sensor") {
  check_rows(
      {
          {"strictly above, to the millisecond", "time since reading above 60 min", "",
           "0 s:t20 s1:t20 s2:t20 o:t20; 50 s1:t20 s2:t20 o:t20; 100 tick", "60+1ms raised r s"},
          {"at least, to the minute", "time since reading at least 60 min", "",
           "0 s:t20 s1:t20 s2:t20 o:t20; 50 s1:t20 s2:t20 o:t20; 100 tick", "60 raised r s"},
          {"one that never spoke is caught", "time since reading at least 60 min", "",
           "0 tick; 50 s1:t20 s2:t20 o:t20; 60 tick", "60 raised r s"},
          {"an impossible reading is not silence", "time since reading at least 60 min", "",
           "0 s:t20 s1:t20 s2:t20 o:t20; 50 s:x s1:t20 s2:t20 o:t20; 100 tick", ""},
          {"a backlog from before the watch began is no silence",
           "time since reading at least 60 min", "", "200 s:t20@10 s1:t20 s2:t20 o:t20; 250 tick",
           ""},
          {"it eases ten minutes after it speaks", "time since reading at least 60 min", "",
           "0 s:t20 s1:t20 s2:t20 o:t20; 50 s1:t20 s2:t20 o:t20; 70 s:t20; 90 tick",
           "60 raised r s; 80 eased r s"},
          {"a late reading moves nothing that is newer", "time since reading at least 60 min", "",
           "0 s:t20 s1:t20 s2:t20 o:t20; 40 s:t20 s1:t20 s2:t20 o:t20; 50 s:t20@10; 99 tick", ""},
      },
      "sensor");
}

TEST_CASE("the broker is gone from the moment the link is lost") {
  check_rows(
      {
          {"lost long enough", "time since broker at least 5 min", "",
           "0 back; 10 lost; 12 lost; 30 tick", "15 raised r"},
          {"back in time", "time since broker at least 5 min", "",
           "0 back; 10 lost; 14 back; 30 tick", ""},
          {"lost from the start", "time since broker at least 5 min", "", "0 lost; 30 tick",
           "5 raised r"},
          {"never told of, it is unknown", "time since broker at least 5 min", "",
           "0 s:t20; 30 tick", ""},
          {"it eases ten minutes after it is back", "time since broker at least 5 min", "",
           "0 lost; 6 back; 30 tick", "5 raised r; 16 eased r"},
      },
      "service");
}

TEST_CASE("under the clock of readings, time stands still between them") {
  WatchSettings settings =
      settings_of({a_rule("warm", "place", "temperature above 27 °C lasting 10 min"),
                   a_rule("silent", "sensor", "time since reading at least 60 min")});
  settings.clock = Clock::readings;
  Watch watch(settings);
  CHECK(changes_text(tell(watch, "5000 s:t28@0; 5001 tick; 9000 tick")) == "");
  CHECK(minute_text(*watch.now()) == "0");
  // The timer at minute 10 goes off before the reading at 12 is applied.
  CHECK(changes_text(tell(watch, "9001 s:t20@12")) == "10 raised warm cellar");
  CHECK(minute_text(*watch.now()) == "12");
  // A message that holds a day is stepped through at the times of its readings.
  CHECK(changes_text(tell(watch, "9002 s:t28@30 s:t28@45 s:t20@50")) ==
        "22 eased warm cellar; 40 reopened warm cellar");
}

TEST_CASE("a reading a little ahead of the wall clock counts when it arrives") {
  Watch watch(settings_of({a_rule("r", "place", "temperature above 27 °C")}));
  CHECK(changes_text(tell(watch, "0 s:t28@4")) == "0 raised r cellar");
  CHECK(minute_text(*watch.now()) == "0");
}

TEST_CASE("engine time does not go back when the wall clock does") {
  Watch watch(settings_of({a_rule("r", "place", "temperature above 27 °C")}));
  (void)tell(watch, "100 tick; 50 tick");
  CHECK(minute_text(*watch.now()) == "100");
}

}  // namespace
}  // namespace torpor::rules
