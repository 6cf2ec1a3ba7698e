// The life of an alert, its jars, and when a phone hears of it.
#include <doctest/doctest.h>

#include "rules/watch/alert_life.h"
#include "tests/rules/watch/story.h"

namespace torpor::rules {
namespace {

Rule warm(std::string urgency = "today") {
  return a_rule("warm", "place", "temperature above 27 °C", "temperature below 26 °C",
                std::move(urgency));
}

std::string jars_text(const Alert& alert) {
  std::string text;
  for (const std::string& jar : alert.jars) text += (text.empty() ? "" : " ") + jar;
  return text;
}

std::string notices_text(const Effects& effects) {
  std::string text;
  for (const Notice& notice : effects.notices) text += (text.empty() ? "" : " ") + notice.id;
  return text;
}

TEST_CASE("an alert is raised, eases, and ends an hour after it eased") {
  Watch watch(settings_of({warm()}));
  CHECK(changes_text(tell(watch, "0 s:t28; 10 s:t25; 69.9 tick")) ==
        "0 raised warm cellar; 10 eased warm cellar");
  REQUIRE(watch.open_alerts().size() == 1);
  CHECK(watch.open_alerts()[0].state == AlertState::eased);
  const Effects end = tell(watch, "70 tick");
  CHECK(changes_text(end) == "70 ended warm cellar");
  CHECK(end.changes[0].alert.ended_at == minute(70));
  CHECK(watch.open_alerts().empty());
}

TEST_CASE("a new raise within the hour is the same alert, and after it a new one") {
  Watch watch(settings_of({warm()}));
  CHECK(changes_text(tell(watch, "0 s:t28; 10 s:t25; 69 s:t28; 80 s:t25; 141 s:t28")) ==
        "0 raised warm cellar; 10 eased warm cellar; 69 reopened warm cellar; "
        "80 eased warm cellar; 140 ended warm cellar; 141 raised warm cellar");
  REQUIRE(watch.open_alerts().size() == 1);
  CHECK(watch.open_alerts()[0].number == 2);
}

TEST_CASE(
    "seen is noted once, with by whom, and stays over a reopening unless the urgency is now") {
  for (const bool is_now : {false, true}) {
    CAPTURE(is_now);
    Watch watch(settings_of({warm(is_now ? "now" : "today")}));
    (void)tell(watch, "0 s:t28");
    const Effects seen = watch.step(minute(5), SeenInput{1, "Resi"});
    REQUIRE(seen.changes.size() == 1);
    CHECK(seen.changes[0].kind == AlertChangeKind::seen);
    CHECK(seen.changes[0].alert.seen_by == "Resi");
    CHECK(watch.step(minute(6), SeenInput{1, "Sepp"}).changes.empty());
    CHECK(watch.step(minute(6), SeenInput{7, "Sepp"}).changes.empty());
    (void)tell(watch, "10 s:t25; 20 s:t28");
    CHECK(watch.open_alerts()[0].seen_at.has_value() == !is_now);
  }
}

TEST_CASE("seen without a number is for all that stand") {
  Watch watch(settings_of({warm()}));
  CHECK(changes_text(tell(watch, "0 s1:t28 s2:t28; 1 s1:t20; 2 seen")) ==
        "0 raised warm cellar/shelf-1; 0 raised warm cellar/shelf-2; "
        "1 eased warm cellar/shelf-1; 2 seen warm cellar/shelf-2");
}

TEST_CASE("a deferred alert is silent until then, is said again, and never for over a week") {
  Watch watch(settings_of({warm()}));
  (void)tell(watch, "0 s:t28 o:t20");
  const Effects deferred = watch.step(minute(5), DeferInput{1, minute(900), "moving", "Resi"});
  REQUIRE(deferred.changes.size() == 1);
  CHECK(deferred.changes[0].kind == AlertChangeKind::deferred);
  CHECK(deferred.changes[0].alert.deferred_until == minute(900));
  CHECK(deferred.changes[0].alert.deferred_reason == "moving");
  CHECK(deferred.changes[0].alert.seen_by == "Resi");
  CHECK(notices_text(tell(watch, "25 s:t28; 50 s:t28; 899.9 tick")).empty());
  const Effects over = tell(watch, "900 tick");
  CHECK(notices_text(over) == "1-2");
  CHECK(changes_text(over) == "900 updated warm cellar");
  CHECK_FALSE(watch.open_alerts()[0].deferred_until);
  CHECK_FALSE(watch.open_alerts()[0].seen_at);
  SUBCASE("a time that is past, and an alert that is not open, change nothing") {
    CHECK(watch.step(minute(901), DeferInput{1, minute(901), "", ""}).changes.empty());
    CHECK(watch.step(minute(901), DeferInput{2, minute(990), "", ""}).changes.empty());
  }
  SUBCASE("a longer time counts as a week") {
    (void)watch.step(minute(901), DeferInput{1, minute(901 + 30 * 1440), "", ""});
    CHECK(watch.open_alerts()[0].deferred_until == minute(901) + std::chrono::days(7));
  }
  SUBCASE("it lasts over a reopening") {
    (void)watch.step(minute(901), DeferInput{1, minute(1200), "", ""});
    CHECK(notices_text(tell(watch, "910 s:t20; 920 s:t28; 1199 s:t28")).empty());
    CHECK(notices_text(tell(watch, "1200 tick")) == "1-3");
  }
}

TEST_CASE("an alert of a place lists the jars that no nearer live sensor speaks for") {
  Watch watch(settings_of({warm()}));
  (void)tell(watch, "0 +A=cellar +B=cellar/shelf-1 +C=cellar/shelf-3 +D=outside");
  const Effects raised = tell(watch, "1 s1:t20; 2 s:t28");
  REQUIRE(raised.changes.size() == 1);
  CHECK(jars_text(raised.changes[0].alert) == "A C");
  SUBCASE("and once that sensor falls silent, its jars too") {
    const Effects later = tell(watch, "25 s:t28; 32 tick");
    // Shelf 1 is then as warm as the cellar that speaks for it, and joins.
    CHECK(changes_text(later) == "31 updated warm cellar");
    CHECK(jars_text(watch.open_alerts()[0]) == "A B C");
    CHECK(notices_text(later) == "");
  }
  SUBCASE("a jar that is moved in or away changes the list") {
    CHECK(changes_text(tell(watch, "3 +D=cellar; 4 +A=outside; 5 +E=outside; 6 -C")) ==
          "3 updated warm cellar; 4 updated warm cellar; 6 updated warm cellar");
    CHECK(jars_text(watch.open_alerts()[0]) == "D");
  }
}

TEST_CASE("what is met below a place with an open alert of the same rule joins it") {
  Watch watch(settings_of({warm()}));
  (void)tell(watch, "0 +A=cellar +B=cellar/shelf-1 s1:t20 s2:t20");
  SUBCASE("later, without a second notice") {
    const Effects effects = tell(watch, "1 s:t28; 2 s1:t28");
    CHECK(changes_text(effects) == "1 raised warm cellar; 2 updated warm cellar");
    CHECK(notices_text(effects) == "1-1");
    CHECK(jars_text(watch.open_alerts()[0]) == "A B");
  }
  SUBCASE("in the same moment") {
    CHECK(changes_text(tell(watch, "1 s:t28 s1:t28")) == "1 raised warm cellar");
    CHECK(jars_text(watch.open_alerts()[0]) == "A B");
  }
  SUBCASE("it eases when the last of them does, and speaks of the one that stands") {
    const Effects effects = tell(watch, "1 s:t28 s1:t29; 5 s:t25 s1:t28.5; 9 s1:t25");
    CHECK(changes_text(effects) ==
          "1 raised warm cellar; 5 updated warm cellar; 9 eased warm cellar");
    CHECK(effects.changes[1].alert.what == "cellar/shelf-1: temperature 28.5 °C, above 27 °C.");
    CHECK(jars_text(effects.changes[1].alert) == "B");
  }
  SUBCASE("an alert below that was raised first stays by itself") {
    CHECK(changes_text(tell(watch, "1 s1:t28; 2 s:t28; 3 s1:t20")) ==
          "1 raised warm cellar/shelf-1; 2 raised warm cellar; 3 eased warm cellar/shelf-1");
  }
  SUBCASE("a place that joins an eased alert for the first time is told of") {
    const Effects effects = tell(watch, "1 s:t28; 2 seen; 5 s:t25; 9 s1:t28");
    CHECK(changes_text(effects) ==
          "1 raised warm cellar; 2 seen warm cellar; 5 eased warm cellar; "
          "9 reopened warm cellar");
    CHECK(notices_text(effects) == "1-1 1-2");
  }
}

TEST_CASE("unseen alerts are said again ever more rarely, by urgency, until seen") {
  struct Row {
    const char* urgency;
    std::vector<double> hours;  // after the raise
  };
  for (const Row& row :
       {Row{"now", {0.25, 0.75, 1.75, 3.75, 7.75, 11.75}},
        Row{"today", {12, 36, 84, 180, 348, 516}}, Row{"this-week", {168, 336, 504}}}) {
    CAPTURE(std::string(row.urgency));
    WatchSettings settings = settings_of({warm(row.urgency)});
    for (auto& sensor : settings.layout.sensors) sensor.hold = std::chrono::days(60);
    Watch watch(settings);
    CHECK(notices_text(tell(watch, "0 s:t28")) == "1-1");
    int said = 1;
    for (const double hours : row.hours) {
      CAPTURE(hours);
      CHECK(notices_text(watch.step(minute(60 * hours - 0.1), TickInput{})) == "");
      CHECK(watch.next_due() == minute(60 * hours));
      CHECK(notices_text(watch.step(minute(60 * hours), TickInput{})) ==
            "1-" + std::to_string(++said));
    }
    (void)watch.step(minute(60 * row.hours.back() + 1), SeenInput{1, ""});
    CHECK(notices_text(watch.step(minute(60 * 24 * 50), TickInput{})) == "");
  }
}

// A cellar whose sensors hang on `shelves` shelves, none below another.
WatchSettings many_shelves(int shelves, const char* urgency) {
  WatchSettings settings = settings_of({warm(urgency)}, {});
  for (int i = 1; i <= shelves; ++i) {
    const std::string place = "shelf-" + std::to_string(i);
    settings.layout.places.push_back({place, false});
    settings.layout.sensors.push_back({"s" + std::to_string(i),
                                       place,
                                       "",
                                       Senses::air,
                                       {Quantity::temperature},
                                       std::chrono::minutes(10),
                                       std::chrono::days(60)});
  }
  return settings;
}

ReadingsInput warm_shelves(int from, int to, double at) {
  ReadingsInput input;
  for (int i = from; i <= to; ++i) {
    input.readings.push_back(
        a_reading("s" + std::to_string(i), Quantity::temperature, 28, minute(at)));
  }
  return input;
}

TEST_CASE("over ten notices in ten minutes become one, and its alerts all stand") {
  SUBCASE("ten of one rule at once are one line that names them") {
    Watch watch(many_shelves(10, "today"));
    const Effects effects = watch.step(minute(0), warm_shelves(1, 10, 0));
    CHECK(effects.changes.size() == 10);
    REQUIRE(effects.notices.size() == 1);
    CHECK(effects.notices[0].line ==
          "Today: shelf-1: temperature 28.0 °C, above 27 °C. Likewise shelf-10, shelf-2, shelf-3, "
          "shelf-4 and 5 more. Shade the jars from sun and from anything warm.");
  }
  SUBCASE("of two rules they are two lines") {
    WatchSettings settings = many_shelves(2, "today");
    settings.book.push_back(a_rule("hot", "place", "temperature above 27.5 °C"));
    Watch watch(settings);
    CHECK(watch.step(minute(0), warm_shelves(1, 2, 0)).notices.size() == 2);
  }
  SUBCASE("eleven at once are one") {
    Watch watch(many_shelves(11, "today"));
    const Effects effects = watch.step(minute(0), warm_shelves(1, 11, 0));
    CHECK(effects.changes.size() == 11);
    REQUIRE(effects.notices.size() == 1);
    CHECK(effects.notices[0].alert == 0);
    CHECK(effects.notices[0].line ==
          "Today: over 10 notices in 10 minutes, here 11 in one: shelf-1: temperature 28.0 °C, "
          "above 27 °C. shelf-10: temperature 28.0 °C, above 27 °C. And 9 more. Often one cause: "
          "power, radio, a door. `torpor alerts` lists them.");
    // Repeated as one, too.
    const Effects again = watch.step(minute(720), TickInput{});
    CHECK(again.notices.size() == 1);
  }
  SUBCASE("what comes in the ten minutes after it waits for their end") {
    Watch watch(many_shelves(14, "today"));
    CHECK(watch.step(minute(0), warm_shelves(1, 11, 0)).notices.size() == 1);
    CHECK(watch.step(minute(3), warm_shelves(12, 13, 3)).notices.empty());
    CHECK(watch.step(minute(9.9), TickInput{}).notices.empty());
    CHECK(notices_text(watch.step(minute(10), TickInput{})) == "12-1");
    CHECK(notices_text(watch.step(minute(10.1), warm_shelves(14, 14, 10.1))) == "14-1");
  }
  SUBCASE("one by one, the eleventh within ten minutes says so") {
    Watch watch(many_shelves(12, "today"));
    for (int i = 1; i <= 10; ++i) {
      CHECK(watch.step(minute(i), warm_shelves(i, i, i)).notices.size() == 1);
    }
    const auto late = watch.step(minute(10.5), warm_shelves(11, 11, 10.5));
    REQUIRE(late.notices.size() == 1);
    CHECK(late.notices[0].id.find("flood") == 0);
  }
  SUBCASE("urgency now is never folded") {
    Watch watch(many_shelves(11, "now"));
    CHECK(watch.step(minute(0), warm_shelves(1, 11, 0)).notices.size() == 11);
  }
}

TEST_CASE("in quiet hours today and this-week wait for the morning, now does not") {
  // Quiet from 22:00 to 06:00 local; local is UTC + 1 h, so minute 0 is 01:00 local.
  const auto watch_with = [](const char* urgency) {
    WatchSettings settings = settings_of({warm(urgency)});
    settings.quiet = QuietHours{22 * 60, 6 * 60};
    settings.utc_offset = [](Instant) { return std::chrono::minutes(60); };
    for (auto& sensor : settings.layout.sensors) sensor.hold = std::chrono::days(1);
    return Watch(settings);
  };
  SUBCASE("now") {
    Watch watch = watch_with("now");
    CHECK(notices_text(tell(watch, "0 s:t28")) == "1-1");
  }
  SUBCASE("today: at the end of quiet hours, once") {
    Watch watch = watch_with("today");
    CHECK(notices_text(tell(watch, "0 s:t28; 299 tick")) == "");
    const Effects morning = tell(watch, "300 tick");
    REQUIRE(morning.notices.size() == 1);
    CHECK(morning.notices[0].line ==
          "Today (since 01:00): cellar: temperature 28.0 °C, above 27 °C. Shade the jars from sun "
          "and from anything warm.");
    CHECK(notices_text(tell(watch, "1019 tick")) == "");
    CHECK(notices_text(tell(watch, "1020 tick")) == "1-2");
  }
  SUBCASE("not if it has eased by then") {
    Watch watch = watch_with("today");
    CHECK(notices_text(tell(watch, "0 s:t28; 290 s:t20; 400 tick")) == "");
  }
  SUBCASE("not if it was seen in the night") {
    Watch watch = watch_with("today");
    CHECK(notices_text(tell(watch, "0 s:t28; 10 seen; 400 tick")) == "");
  }
  SUBCASE("the first minute of quiet hours is quiet, the minute they end is not") {
    Watch watch = watch_with("today");
    CHECK(notices_text(tell(watch, "1259 s:t28")) == "1-1");  // 21:59 local
    Watch later = watch_with("today");
    CHECK(notices_text(tell(later, "1260 s:t28")) == "");  // 22:00
    Watch morning = watch_with("today");
    CHECK(notices_text(tell(morning, "300 s:t28")) == "1-1");  // 06:00
  }
}

TEST_CASE("only an alert of urgency now is told again when it eases") {
  Watch now(settings_of({warm("now")}));
  const Effects effects = tell(now, "0 s:t28; 5 s:t25");
  REQUIRE(effects.notices.size() == 2);
  CHECK(effects.notices[1].line ==
        "Over: cellar: temperature 25.0 °C, no longer above 27 °C; at its worst 28.0 °C (00:00).");
  Watch today(settings_of({warm("today")}));
  CHECK(notices_text(tell(today, "0 s:t28; 5 s:t25")) == "1-1");
}

TEST_CASE("a notice is one line a person can act on") {
  struct Row {
    const char* concerns;
    const char* when;
    const char* story;
    const char* line;
  };
  const Row rows[] = {
      {"place", "temperature above 27 °C lasting 2 h",
       "0 +B-01=cellar +B-02=cellar +B-03=cellar +B-04=cellar +B-05=cellar s:t28; 25 s:t28; "
       "50 s:t28; 75 s:t28; 100 s:t28; 125 tick",
       "Today: cellar: temperature 28.0 °C, above 27 °C for over 2 h. Jars B-01, B-02, B-03 and 2 "
       "more. Shade the jars from sun and from anything warm."},
      {"jar", "humidity above 85 % and temperature above 20 °C",
       "0 +B-01=cellar/shelf-1; 1 s1:t21.25 s1:h90",
       "Today: Jar B-01 in cellar/shelf-1: humidity 90 %, above 85 %; temperature 21.2 °C, above "
       "20 °C. Shade the jars from sun and from anything warm."},
      {"jar", "humidity above 85 % or temperature above 20 °C",
       "0 +B-01=cellar/shelf-1; 1 s1:t21.2 s1:h60",
       "Today: Jar B-01 in cellar/shelf-1: temperature 21.2 °C, above 20 °C. Shade the jars from "
       "sun and from anything warm."},
      {"place", "temperature minus temperature at outside above 3 K", "0 s:t28 o:t20.5",
       "Today: cellar: temperature minus temperature at outside 7.5 K, above 3 K. Shade the jars "
       "from sun and from anything warm."},
      {"sensor", "time since reading above 2 h",
       "720 s:t20 s1:t20 s2:t20; 840 s1:t20 s2:t20 o:t20; 841 tick",
       "Today: Sensor s at cellar: no reading since 12:00. Shade the jars from sun and from "
       "anything warm."},
      {"service", "time since broker above 5 min", "720 lost; 726 tick",
       "Today: The service: the broker is out of reach since 12:00. Shade the jars from sun and "
       "from anything "
       "warm."},
      {"place", "not humidity below 85 %", "0 s:t20 s:h91",
       "Today: cellar: humidity 91 %, not below 85 %. Shade the jars from sun and from anything "
       "warm."},
  };
  for (const Row& row : rows) {
    Watch watch(settings_of({a_rule("r", row.concerns, row.when)}));
    const Effects effects = tell(watch, row.story);
    REQUIRE(effects.notices.size() == 1);
    CHECK(effects.notices[0].line == row.line);
    CHECK(effects.notices[0].line.size() <= 240);
  }
}

TEST_CASE("an alert carries its figures, unknown ones too") {
  Watch watch(
      settings_of({a_rule("r", "place", "temperature above 27 °C or dew point above 20 °C")}));
  const Effects effects = tell(watch, "0 s:t28");
  REQUIRE(effects.changes.size() == 1);
  const std::vector<Figure> expected{{"temperature", 28.0, "°C"},
                                     {"dew point", std::nullopt, "°C"}};
  CHECK(effects.changes[0].alert.figures == expected);
}

TEST_CASE("touched names what a reading may have changed for those who look") {
  Watch watch(settings_of({}));
  (void)tell(watch, "0 +A=cellar +B=cellar/shelf-1");
  const auto touched = [&](const char* story) {
    std::string text;
    for (const Subject& subject : tell(watch, story).touched) text += subject.id + " ";
    return text;
  };
  CHECK(touched("1 s:t20") == "cellar cellar/shelf-1 cellar/shelf-2 s A B ");
  CHECK(touched("2 s1:t20") == "cellar/shelf-1 s1 B ");
  // The shelf speaks for itself now.
  CHECK(touched("3 s:t20") == "cellar cellar/shelf-2 s A ");
  // Its value runs out at minute 32.
  CHECK(touched("32 tick").find("s1 ") != std::string::npos);
  CHECK(touched("32.5 s:x") == "s ");
}

TEST_CASE("the newest reading is known, trusted or not, and what is older is late") {
  Watch watch(settings_of({}));
  (void)tell(watch, "0 s:t20; 5 s:t21; 7 s:t22@3; 9 s:x");
  CHECK(watch.newest("s", Quantity::temperature)->measured_at == minute(9));
  CHECK(watch.newest_trusted("s", Quantity::temperature)->value() == 21.0);
  CHECK(watch.is_late("s", Quantity::temperature, minute(8)));
  CHECK(!watch.is_late("s", Quantity::temperature, minute(9)));
  CHECK(!watch.is_late("s", Quantity::humidity, minute(0)));
  CHECK(!watch.newest("nobody", Quantity::temperature));
  CHECK(watch.air_at("cellar").temperature == Celsius(21.0));
  CHECK(!watch.air_at("cellar").humidity);
}

TEST_CASE("an eased alert says what it was at its worst, and when") {
  Watch watch(settings_of({warm()}));
  (void)tell(watch, "0 s:t28; 10 s:t31.5; 20 s:t29; 30 s:t25");
  const Alert alert = watch.open_alerts().front();
  REQUIRE(alert.worst);
  CHECK(alert.worst->value == 31.5);
  CHECK(alert.worst_at == minute(10));
  CHECK(alert.what ==
        "cellar: temperature 25.0 °C, no longer above 27 °C; at its worst 31.5 °C (00:10).");
}

TEST_CASE("what is passing is not said again, and is if it turns out to last") {
  Watch watch(settings_of({a_rule("warm", "place", "temperature above 27 °C",
                                  "temperature below 26 °C lasting 24 h")}));
  std::string said;
  for (int m = 0; m <= 30 * 60; m += 10) {
    // Carried to the cool after 11 hours, and warm again 15 h later.
    const char* value = m < 11 * 60 || m >= 26 * 60 ? "28" : "20";
    const Effects effects = tell(watch, std::to_string(m) + " s:t" + value);
    if (!effects.notices.empty()) said += minute_text(minute(m)) + " ";
  }
  CHECK(said == "0 1560 ");
}

TEST_CASE("the lowest value is the worst of a rule that looks downward") {
  Watch watch(settings_of({a_rule("cold", "place", "temperature below 5 °C")}));
  (void)tell(watch, "0 s:t4; 5 s:t1; 9 s:t3");
  CHECK(watch.open_alerts().front().worst->value == 1.0);
}

TEST_CASE("a full disk and a clock that was set are watched like anything else") {
  Watch watch(settings_of(
      {a_rule("full", "service", "disk free below 5 %", "disk free above 8 %"),
       a_rule("set", "service", "clock step above 5 min", "clock step below 1 min", "this-week")}));
  // Before there is a time, what is known waits for it.
  (void)watch.step(minute(0), DiskInput{Percent(40.0)});
  std::string story;
  const auto step = [&](double at, const Input& input) {
    story += changes_text(watch.step(minute(at), input)) + "|";
  };
  step(1, DiskInput{Percent(4.5)});
  step(2, DiskInput{Percent(6.0)});
  step(3, DiskInput{Percent(9.0)});
  step(4, ClockSteppedInput{-std::chrono::minutes(7)});
  const std::string snapshot = watch.snapshot();
  Watch again(settings_of(
      {a_rule("full", "service", "disk free below 5 %", "disk free above 8 %"),
       a_rule("set", "service", "clock step above 5 min", "clock step below 1 min", "this-week")}));
  REQUIRE(again.restore(snapshot));
  CHECK(again.snapshot() == snapshot);
  step(5, ClockSteppedInput{std::chrono::minutes(6)});
  step(4 + 24 * 60, TickInput{});
  step(6 + 24 * 60, TickInput{});
  CHECK(story == "1 raised full||3 eased full|4 raised set||63 ended full|1445 eased set|");
}

}  // namespace
}  // namespace torpor::rules
