#include "daemon/report/text.h"

#include <doctest/doctest.h>

#include <algorithm>

#include "tests/daemon/report/sample_views.h"

namespace torpor::daemon {
namespace {

const LocalTime& vienna() {
  static const LocalTime zone = LocalTime::in_zone("Europe/Vienna").value();
  return zone;
}

TextContext context(TextStyle style = {}) {
  return {vienna(), at("2026-03-02T17:30:00Z"), std::nullopt, style};
}

const std::string kHeading = "As of 2026-03-02 18:30 (Europe/Vienna).\n\n";

}  // namespace

TEST_CASE("the heading says how long nothing has come in") {
  TextContext late = context();
  CHECK(heading(late) == kHeading);
  late.behind = std::chrono::hours(5);
  CHECK(heading(late) ==
        "As of 2026-03-02 18:30 (Europe/Vienna).\n"
        "No sensor has sent anything for 5 hours.\n\n");
}

TEST_CASE("jars are one line each") {
  JarView settling = sample_jar();
  settling.jar = "X-9";
  settling.standing.time_to_wake = {};
  settling.standing.state = rules::culture::State::settling;
  settling.standing.use = rules::Use::no;
  settling.air = {};
  settling.alerts.clear();
  settling.stage.clear();
  settling.coverage_percent = 74.99;
  const JarRow views[] = {sample_jar(), settling};
  CHECK(jars_text(views, context()) ==
        kHeading +
            "JAR   STATE     USE  TO WAKE   PLACE             °C   %  COVERED  ALERTS  STAGE\n"
            "B-07  dormant   yes  5+ weeks  cellar/shelf-2  18.2  61     98 %  12      IMO-2\n"
            "X-9   settling  no   -         cellar/shelf-2     -   -     74 %  -       -\n");
}

TEST_CASE("the list says of every jar in a word whether it may be used") {
  using rules::Use;
  for (const auto& [use, word] : {std::pair{Use::yes, "  yes   5+ weeks"},
                                  {Use::look_first, "  look  5+ weeks"},
                                  {Use::wake_test_first, "  test  5+ weeks"},
                                  {Use::no, "  no    5+ weeks"}}) {
    JarView view = sample_jar(), widest = sample_jar();
    view.standing.use = use;
    widest.standing.use = Use::look_first;
    const JarRow views[] = {view, widest};
    const std::string text = jars_text(views, context());
    CAPTURE(text);
    CHECK(text.find(std::string("dormant") + word) != std::string::npos);
  }
}

TEST_CASE("the longest jar id and a long place still fit 80 columns") {
  JarView view = sample_jar();
  view.jar = "a-long-jar-id-of-32-characters-x";
  view.place = "north-cellar/old-vault/rack-3/shelf-12";
  const JarRow views[] = {view};
  const std::string text = jars_text(views, context());
  CHECK(text.find("a-long-jar-id-") != std::string::npos);
  CHECK(text.find(view.jar) == std::string::npos);  // shortened, and marked so
  CHECK(text.find("~") != std::string::npos);
  std::size_t begin = 0;
  for (std::size_t end; (end = text.find('\n', begin)) != std::string::npos; begin = end + 1) {
    CHECK(end - begin <= 81);  // the degree sign has two bytes
  }
}

TEST_CASE("without a jar the text says how to register one") {
  CHECK(jars_text({}, context()).find("No jar is registered yet.") != std::string::npos);
}

TEST_CASE("places are one line each") {
  PlaceView outside;
  outside.path = "garden";
  outside.outside = true;
  const PlaceView views[] = {sample_place(), outside};
  CHECK(places_text(views, context()) ==
        kHeading +
            "PLACE               °C   %  DEW °C  g/m³  SENSOR  JARS  ALERTS\n"
            "cellar/shelf-2    18.2  61    10.7   9.6  s2         2  12\n"
            "garden (outside)     -   -       -     -  -          0  -\n");
}

TEST_CASE("sensors are one line each and an impossible value is marked") {
  SensorView silent;
  silent.id = "p7";
  silent.jar = "B-07";
  silent.senses = rules::Senses::culture;
  silent.state = SensorState::never_heard;
  const SensorView views[] = {sample_sensor(), silent};
  CHECK(sensors_text(views, context()) ==
        kHeading +
            "SENSOR  HANGS ON        SENSES   STATE          °C       %  LAST READING\n"
            "s2      cellar/shelf-2  air      live         18.2  161.4!  2026-03-02 18:29\n"
            "p7      jar B-07        culture  never heard     -       -  -\n"
            "\n"
            "! a value that is not believed: kept, but nothing is concluded from it.\n"
            "\n"
            "s2, temperature: checked in ice on 2026-02-16: read 0.2 K too high (entry 12);\n"
            "corrected since, within 0.2 K of the truth.\n"
            "\n"
            "The humidity of s2 is within 7 % of the truth (never checked; common practice,\n"
            "no source). `torpor tell 'calibrate s2 in table salt'` checks one.\n");
}

TEST_CASE("a number that no room has is shown short, in any unit") {
  SensorView view = sample_sensor();
  view.readings[0].value = 1e308;
  CHECK(sensors_text({&view, 1}, context()).find("live   1e+308  161.4!") != std::string::npos);
  TextContext other = context();
  other.units = PersonUnits({true, true});
  CHECK(sensors_text({&view, 1}, other).size() < 1000);
}

TEST_CASE("an alert is a block that says what, where, since when and for which jars") {
  AlertView eased = sample_alert();
  eased.alert.remedies.clear();
  AlertView ended = eased;
  ended.alert.number = 13;
  ended.alert.state = rules::AlertState::ended;
  ended.alert.ended_at = at("2026-03-01T21:00:00Z");
  ended.alert.seen_at.reset();
  ended.alert.jars.clear();
  ended.alert.why.clear();
  const AlertView views[] = {eased, ended};
  CHECK(alerts_text(views, true, context()) ==
        kHeading +
            "12 warm-shelf (today): eased, seen by mara\n"
            "    since 2026-03-01 12:00, eased 2026-03-01 21:00\n"
            "    cellar/shelf-2 was above 27 °C for 2 h: 27.9 °C.\n"
            "    Jars: B-07 B-08\n"
            "    Warmth speeds every organism in the jars here.\n"
            "\n"
            "13 warm-shelf (today): ended, unseen\n"
            "    since 2026-03-01 12:00, ended 2026-03-01 22:00\n"
            "    cellar/shelf-2 was above 27 °C for 2 h: 27.9 °C.\n");
  CHECK(alerts_text({}, false, context()) == kHeading + "No alert stands.\n");
  CHECK(alerts_text({}, true, context()) == kHeading + "No alert was ever raised.\n");
}

TEST_CASE("an alert's remedies are advice, one paragraph each") {
  const AlertView views[] = {sample_alert()};
  const std::string text = alerts_text(views, false, context());
  CHECK(std::count(text.begin(), text.end(), '\n') >= 8);
  const std::string shade(rules::remedy_sentence(rules::Remedy::shade));
  CHECK(text.find("    - " + shade.substr(0, 20)) != std::string::npos);
}

TEST_CASE("one jar's page says what it is, where it stood, its air, alerts and journal") {
  JarHistoryView view = sample_history();
  CHECK(jar_history_text(view, context()) == kHeading + R"(Jar B-07
  stage     IMO-2
  closed    2026-01-02 00:00, 59 days ago
  contents  rice 1200 g, raw 560 g, sugar 1250 g, topping 60 g
  vessel    glass of 3.8 l, mouth 11 cm, 1450 g empty
  cover     paper
  origin    beech hollow, north slope
  air now   18.2 °C, 61 %, dew point 10.7 °C (s2)

State: dormant, use: yes
  Nothing to do.
  It sleeps; in the air it has had it wakes in about 3 months.
  - Its cover breathes.

What that did to the jar (estimates)
  activity on top 0.842 (0.828 to 0.861)
  in the body     0.832 (0.820 to 0.851)
  water taken up  1.5 g (0.5 to 3.2)
  can still take  13 g (8 to 20)
  wake progress   4 % (0 to 12)
  slow work       18 % (9 to 30)
  wakes           in about 3 months (range 6 weeks to not in sight)
  warmest inside  27.5 °C
  dew inside      2 h on the lid or glass above it

Where it stood
  2026-01-02 00:00  2026-02-10 09:00  cellar/shelf-1
  2026-02-10 09:00  still there       cellar/shelf-2

Which sensor spoke for its air
  2026-01-02 00:00  2026-02-10 09:00  s1
  2026-02-10 09:00  to the end        none

The air it stood in, 2026-01-02 00:00 to 2026-03-02 18:30
  covered by sensors 98.2 % of the time; highest 27.9 °C; mean kinetic
  temperature 17.9 °C
  highest °C  ▁ █  15 to 28 °C
  highest %   ▁ █  70 to 90 %
  WEEK  FROM               °C  BY HALF DAYS      %  BY HALF DAYS  COVERED
     1  2026-01-02  14.2-15.1  ▄▅            68-76  ▂▇              100 %
     2  2026-01-09          -                    -                   42 %

Alerts that concerned it
12 warm-shelf (today): eased, seen by mara
    since 2026-03-01 12:00, eased 2026-03-01 21:00
    cellar/shelf-2 was above 27 °C for 2 h: 27.9 °C.
    Jars: B-07 B-08

Journal
  3     2026-01-02 00:00  new jar B-07 in cellar/shelf-1 (mara)
  9     2026-02-10 09:00  move B-07 to cellar/shelf-2

Cautions
  - This is not food and not medicine. Label it, and keep it from children and
    animals.
  - Coloured or black growth, or a rotten smell: do not use any of it and do not
    scrape.
)");
}

TEST_CASE("a jar's page says the deed first, then what comes next, why and by when") {
  JarHistoryView view = sample_history();
  rules::Standing& standing = view.jar.standing;
  standing.state = rules::culture::State::waking;
  standing.use = rules::Use::look_first;
  standing.urgency = rules::Urgency::today;
  standing.deed = rules::Advice{rules::Remedy::ease_lid, "Ease the lid of B-07 slowly.", {}};
  standing.next = rules::Advice{rules::Remedy::add_sugar, "Stir about 45 g into B-07.", {}};
  standing.next_date = rules::NextDate{at("2026-03-16T23:30:00Z"), "it has settled"};
  const auto state_part = [&] {
    const std::string text = jar_history_text(view, context());
    const std::size_t from = text.find("  air now"), begin = text.find("\n\n", from) + 2;
    return text.substr(begin, text.find("\n\n", begin) + 1 - begin);
  };
  CHECK(state_part() ==
        "State: waking, use: look first\n"
        "  Today: Ease the lid of B-07 slowly.\n"
        "  Then: Stir about 45 g into B-07.\n"
        "  It sleeps; in the air it has had it wakes in about 3 months.\n"
        "  By 2026-03-17 it has settled.\n"
        "  - Its cover breathes.\n");
  standing.urgency.reset();
  standing.next.reset();
  standing.next_date.reset();
  standing.reasons.clear();
  CHECK(state_part() ==
        "State: waking, use: look first\n"
        "  Ease the lid of B-07 slowly.\n"
        "  It sleeps; in the air it has had it wakes in about 3 months.\n");
}

TEST_CASE("a moment that is past asks for nothing, nor does a jar that was retired") {
  JarHistoryView view = sample_history();
  view.jar.past = true;
  std::string text = jar_history_text(view, context());
  CHECK(text.find("\nThen: dormant, use: yes\n") != std::string::npos);
  CHECK(text.find("Nothing to do") == std::string::npos);
  view.jar.past = false;
  view.jar.standing.state = rules::culture::State::retired;
  view.jar.standing.use = rules::Use::no;
  text = jar_history_text(view, context());
  CHECK(text.find("\nState: retired, use: no\n") != std::string::npos);
  CHECK(text.find("Nothing to do") == std::string::npos);
}

TEST_CASE("a jar's page shows the alerts that stand before those that have passed") {
  JarHistoryView view = sample_history();
  // Four newer ones have ended; one that stands is the oldest, and the only one with remedies.
  const AlertView ended = [] {
    AlertView alert = sample_alert();
    alert.alert.state = rules::AlertState::ended;
    alert.alert.ended_at = at("2026-03-02T10:00:00Z");
    return alert;
  }();
  view.alerts.clear();
  AlertView standing = sample_alert();
  standing.alert.number = 3;
  standing.alert.state = rules::AlertState::standing;
  view.alerts.push_back(standing);
  for (std::uint64_t number = 13; number < 23; ++number) {
    view.alerts.push_back(ended);
    view.alerts.back().alert.number = number;
  }
  const std::string text = jar_history_text(view, context());
  const std::size_t part = text.find("Alerts that concerned it\n3 warm-shelf (today): standing");
  CHECK(part != std::string::npos);
  const std::string shade(rules::remedy_sentence(rules::Remedy::shade));
  CHECK(text.find("    - " + shade.substr(0, 20), part) != std::string::npos);
  CHECK(text.find("22 warm-shelf (today): ended") != std::string::npos);
  CHECK(text.find("13 warm-shelf (today): ended") == std::string::npos);
}

TEST_CASE("the time to wake fits its column, whatever it is") {
  using rules::culture::State;
  using Kind = rules::culture::WakeTime::Kind;
  const auto cell = [](std::array<rules::culture::WakeTime, 3> times, State state) {
    JarView view = sample_jar();
    view.standing.state = state;
    view.standing.time_to_wake = times;
    const JarRow views[] = {view};
    const std::string text = jars_text(views, context());
    std::size_t from = text.find("B-07");
    for (int column = 0; column < 3; ++column) {
      from = text.find_first_not_of(' ', text.find(' ', from));
    }
    return text.substr(from, text.find("  ", from) - from);
  };
  CHECK(cell({{{Kind::within, 30.0}, {Kind::within, 50.0}, {Kind::within, 100.0}}},
             State::dormant) == "1-5 d");
  CHECK(cell({{{Kind::within, 21.0 * 24}, {Kind::within, 900.0}, {Kind::within, 49.5 * 24}}},
             State::dormant) == "3-8 weeks");
  CHECK(cell({{{Kind::within, 20.9 * 24}, {Kind::within, 900.0}, {Kind::beyond, 4320.0}}},
             State::dormant) == "20+ d");
  CHECK(cell({{{Kind::beyond, 4320.0}, {Kind::beyond, 4320.0}, {Kind::beyond, 4320.0}}},
             State::dormant) == "not in sight");
  CHECK(cell({{{Kind::due, 0.0}, {Kind::due, 0.0}, {Kind::due, 0.0}}}, State::due) == "due");
  CHECK(cell({{{Kind::due, 0.0}, {Kind::within, 500.0}, {Kind::beyond, 4320.0}}}, State::dormant) ==
        "maybe now");
  CHECK(cell({{{Kind::unknown, 0.0}, {Kind::unknown, 0.0}, {Kind::unknown, 0.0}}},
             State::unwatched) == "-");
  CHECK(cell({{{Kind::due, 0.0}, {Kind::due, 0.0}, {Kind::due, 0.0}}}, State::awake) == "-");
}

TEST_CASE("a jar of which no time has passed has no coverage") {
  JarHistoryView view = sample_history();
  view.summary.from = view.summary.to;
  view.weeks.clear();
  view.slices.clear();
  view.jar.coverage_percent.reset();
  CHECK(jar_history_text(view, context()).find("18:30\n  no time has passed yet\n\nAlerts") !=
        std::string::npos);
  const JarRow views[] = {view.jar};
  CHECK(jars_text(views, context()).find("18.2  61        -  12") != std::string::npos);
}

TEST_CASE("a curve of digits is drawn where the terminal cannot show blocks") {
  TextStyle ascii;
  ascii.utf8 = false;
  CHECK(jar_history_text(sample_history(), context(ascii)).find("1 8  15 to 28") !=
        std::string::npos);
}

TEST_CASE("a steady air is a flat curve in the middle, not a swing") {
  JarHistoryView view = sample_history();
  for (ExposureRange& slice : view.slices) slice.highest_temperature = Celsius(15.0);
  CHECK(jar_history_text(view, context()).find("highest °C  ▅▅▅  15 to 15 °C") !=
        std::string::npos);
}

TEST_CASE("a change of the sensor that spoke is told, one all along is not") {
  JarHistoryView view = sample_history();
  const Instant from = view.summary.from, to = view.summary.to;
  view.exposure = {{from, to, "", "s1", 100.0, {}, {}, {}}};
  CHECK(jar_history_text(view, context()).find("Which sensor spoke") == std::string::npos);
  view.exposure = {{from, from + std::chrono::hours(24), "", "s1", 100.0, {}, {}, {}},
                   {from + std::chrono::hours(24), to, "", "", 0.0, {}, {}, {}}};
  CHECK(jar_history_text(view, context())
            .find("Which sensor spoke for its air\n"
                  "  2026-01-02 00:00  2026-01-03 00:00  s1\n"
                  "  2026-01-03 00:00  to the end        none\n") != std::string::npos);
}

TEST_CASE("a terminal shows the person's units, in columns, curves and sentences") {
  TextContext other = context();
  other.units = PersonUnits({true, true});
  JarHistoryView view = sample_history();
  const std::string text = jar_history_text(view, other);
  CHECK(text.find("°C") == std::string::npos);
  for (const char* part :
       {"rice 42.3 oz, raw 19.8 oz", "64.8 °F, 61 %, dew point 51.3 °F", "0.05 oz (0.02 to 0.11)",
        "59 to 82 °F", "57.6-59.2", "was above 81 °F for 2 h: 82.2 °F"}) {
    CAPTURE(part);
    CHECK(text.find(part) != std::string::npos);
  }
  const JarRow jars[] = {view.jar};
  CHECK(jars_text(jars, other).find("64.8") != std::string::npos);
}

TEST_CASE("cautions follow the cover and the vessel") {
  JarHistoryView view = sample_history();
  const auto has = [&](std::string_view words) {
    return jar_history_text(view, context()).find(words) != std::string::npos;
  };
  CHECK(has("not food"));
  CHECK_FALSE(has("can burst"));
  CHECK_FALSE(has("is plastic"));
  view.made.cover = Cover::tight_lid;
  view.made.vessel = Vessel::plastic;
  CHECK(has("can burst"));
  CHECK(has("is plastic"));
}

TEST_CASE("a long history shows its newest weeks and says what it leaves out") {
  JarHistoryView view = sample_history();
  view.weeks.assign(20, view.weeks[0]);
  view.journal.assign(9, view.journal[0]);
  const std::string text = jar_history_text(view, context());
  CHECK(text.find("    13  2026") != std::string::npos);
  CHECK(text.find("    12  2026") == std::string::npos);
  CHECK(text.find("  (earlier ones not shown: 12; --csv has all)\n") != std::string::npos);
  CHECK(text.find("  (earlier ones not shown: 1; --json has all)\n") != std::string::npos);
}

TEST_CASE("colour repeats what the words say and changes nothing else") {
  TextStyle colour;
  colour.colour = true;
  const AlertView alerts[] = {sample_alert()};
  const JarRow jars[] = {sample_jar()};
  const auto plain = [](std::string text) {
    for (std::size_t start; (start = text.find('\x1b')) != std::string::npos;) {
      text.erase(start, text.find('m', start) - start + 1);
    }
    return text;
  };
  CHECK(alerts_text(alerts, false, context(colour)) != alerts_text(alerts, false, context()));
  CHECK(plain(alerts_text(alerts, false, context(colour))) ==
        alerts_text(alerts, false, context()));
  CHECK(plain(jars_text(jars, context(colour))) == jars_text(jars, context()));
  CHECK(plain(jar_history_text(sample_history(), context(colour))) ==
        jar_history_text(sample_history(), context()));
}

TEST_CASE("what people told is shown harmlessly everywhere") {
  JarHistoryView view = sample_history();
  const std::string evil = "x\x1b[2J\ny";
  view.made.origin = view.jar.jar = view.jar.stage = view.jar.air.sensor = evil;
  view.stays[0].place = view.journal[0].sentence = view.journal[0].by = evil;
  view.alerts[0].alert.what = view.alerts[0].alert.seen_by = evil;
  view.alerts[0].alert.jars = {evil};
  view.jar.standing.reasons = {evil};
  view.jar.standing.why = "why " + evil;
  view.jar.standing.deed = view.jar.standing.next =
      rules::Advice{rules::Remedy::look, "do " + evil, {}};
  view.jar.standing.next_date = rules::NextDate{view.jar.as_of, evil};
  const std::string text = jar_history_text(view, context());
  CHECK(text.find('\x1b') == std::string::npos);
  CHECK(text.find("\ny") == std::string::npos);
  CHECK(text.find("x\\x1b[2J\\ny") != std::string::npos);
}

TEST_CASE("air is shown with units") {
  AirView view;
  view.temperature = Celsius(25.0);
  view.humidity = Percent(60.0);
  view.pressure = Pascal(101325.0);
  view.dew_point = Celsius(16.7018);
  view.vapour_pressure = Pascal(1901.894);
  view.saturation_vapour_pressure = Pascal(3169.824);
  view.absolute_humidity = GramsPerCubicMetre(13.8216);
  view.humidity_ratio = HumidityRatio(0.0118974);
  CHECK(air_text(view) ==
        R"(Air of 25 °C and 60 % relative humidity at 101325 Pa:
  dew point                   16.7 °C
  vapour pressure             1902 Pa
  saturation vapour pressure  3170 Pa
  absolute humidity           13.82 g/m³
  humidity ratio              11.90 g water per kg dry air
)");
  view.dew_point.reset();
  CHECK(air_text(view).find("none (dry air)") != std::string::npos);
}

}  // namespace torpor::daemon
