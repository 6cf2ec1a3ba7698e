#include "daemon/report/gather.h"

#include <doctest/doctest.h>

#include <algorithm>

#include "daemon/report/jar_standing_json.h"
#include "daemon/service/load_settings.h"
#include "tests/daemon/report/small_cellar.h"

namespace torpor::daemon {
namespace {

using std::chrono::hours;
using std::chrono::minutes;
using tests::SmallCellar;

// A filled cellar and a look into it.
struct Look {
  SmallCellar cellar;
  Loaded loaded;
  std::unique_ptr<Reader> reader;
  Ledger ledger;
  Gathering gathering;

  Look()
      : loaded(filled(cellar)),
        reader(std::move(Reader::open(loaded.history, "").value())),
        ledger(ledger_of(*reader).value()),
        gathering(Gathering::of(loaded.settings, *reader, ledger,
                                shown_now(loaded.settings, *reader, {SmallCellar::hour(9000)}))
                      .value()) {}

  static Loaded filled(const SmallCellar& cellar) {
    cellar.fill();
    return load_settings(cellar.config(), Purpose::history).value();
  }
};

}  // namespace

TEST_CASE("by the readings' clock now is the newest reading, and the wall clock without one") {
  const Look look;
  CHECK(look.gathering.now() == SmallCellar::hour(720));
  const SmallCellar empty;
  { const auto made = Store::open(empty.history()); }
  const auto reader = Reader::open(empty.history(), "");
  REQUIRE(reader.has_value());
  CHECK(shown_now(look.loaded.settings, **reader, {SmallCellar::hour(9000)}) ==
        SmallCellar::hour(9000));
}

TEST_CASE("by the wall clock now is the service's time as it went on, and nobody's stamp") {
  const Look look;
  config::Settings settings = look.loaded.settings;
  settings.clock = rules::Clock::wall;
  const ClockLook today{SmallCellar::hour(9000), hours(50), true, "this start"};
  CHECK(shown_now(settings, *look.reader, today) == SmallCellar::hour(9000));
  CHECK(silent_for(settings, *look.reader, SmallCellar::hour(9000)) == Duration(hours(8280)));
  const auto keep = [&](const KeptClock& kept) {
    auto store = Store::open(look.cellar.history());
    REQUIRE(store.has_value());
    REQUIRE((*store)->put_note(kClockNote, to_text(kept)).has_value());
  };
  const auto now = [&] {
    const auto reader = Reader::open(look.cellar.history(), "");
    REQUIRE(reader.has_value());
    return shown_now(settings, **reader, today);
  };
  keep({"this start", hours(40), SmallCellar::hour(710), std::nullopt});
  CHECK(now() == SmallCellar::hour(720));
  // The board was started anew since: nobody knows how long ago.
  keep({"another start", hours(40), SmallCellar::hour(710), std::nullopt});
  CHECK(now() == SmallCellar::hour(9000));
}

TEST_CASE("a sensor that is ahead does not make now its time") {
  const Look look;
  {
    auto store = Store::open(look.cellar.history());
    REQUIRE(store.has_value());
    const Instant ahead = SmallCellar::hour(720) + minutes(4);
    REQUIRE((*store)
                ->put_reading({"s2", Quantity::temperature, 20.0, Unit::celsius, ahead,
                               SmallCellar::hour(800), kUnmarked})
                .has_value());
    REQUIRE((*store)->put_note(kAheadNote, ahead_json({{"s2", minutes(4)}})).has_value());
  }
  const auto reader = Reader::open(look.cellar.history(), "");
  REQUIRE(reader.has_value());
  CHECK(shown_now(look.loaded.settings, **reader, {SmallCellar::hour(9000)}) ==
        SmallCellar::hour(720));
}

TEST_CASE("a jar's view says where it stands and what its air is") {
  const Look look;
  const JarView b1 = look.gathering.jar(*look.ledger.find("B-01"));
  CHECK(b1.place == "cellar/shelf-2");
  CHECK(b1.closed == SmallCellar::kStart);
  CHECK(b1.as_of == SmallCellar::hour(720));
  // s2 has been silent for weeks: the sensor of the place above speaks.
  CHECK(b1.air.temperature == Celsius(10.0));
  CHECK(b1.air.sensor == "top");
  CHECK(b1.air.humidity == Percent(80.0));
  CHECK(b1.air.dew_point.has_value());
  CHECK(b1.coverage_percent.value() == doctest::Approx(100.0));
  // Its rice was not weighed: nothing can be said of its sleep.
  CHECK(b1.standing.state == rules::culture::State::unwatched);
  CHECK(b1.alerts.empty());
  CHECK_FALSE(b1.past);
  CHECK(b1.standing.jar == "B-01");
  CHECK(b1.standing.place == "cellar/shelf-2");
  CHECK(b1.standing.as_of == SmallCellar::hour(720));
  CHECK(b1.standing.state == rules::culture::State::unwatched);
  CHECK(b1.standing.use == rules::Use::look_first);
}

namespace {

// What the gathering says of B-01 once the history holds this note about it.
rules::Standing with_note(const std::string& note, double hours_later = 0.0) {
  const Look look;
  {
    const auto store = Store::open(look.cellar.history());
    REQUIRE(store.has_value());
    REQUIRE((*store)->begin().has_value());
    REQUIRE((*store)->put_note(standing_note("B-01"), note).has_value());
    REQUIRE((*store)->commit().has_value());
  }
  const auto reader = Reader::open(look.cellar.history(), "");
  REQUIRE(reader.has_value());
  const auto gathering = Gathering::of(look.loaded.settings, **reader, look.ledger,
                                       SmallCellar::hour(720 + hours_later));
  REQUIRE(gathering.has_value());
  return gathering->jar(*look.ledger.find("B-01")).standing;
}

rules::Standing kept_standing() {
  rules::Standing kept;
  kept.jar = "B-01";
  kept.as_of = SmallCellar::hour(720);
  kept.state = rules::culture::State::dormant;
  kept.use = rules::Use::yes;
  kept.why = "The service says so.";
  return kept;
}

}  // namespace

TEST_CASE("a standing that the service kept within two hours is the one that is shown") {
  const std::string note = jar_standing_json(kept_standing());
  CHECK(with_note(note) == kept_standing());
  CHECK(with_note(note, 2.0) == kept_standing());
}

TEST_CASE("an older standing, none, or one that cannot be read is worked out from the history") {
  const std::string note = jar_standing_json(kept_standing());
  for (const rules::Standing& standing :
       {with_note(note, 2.001), with_note(""), with_note("{"), with_note(note + "x")}) {
    CHECK(standing.state == rules::culture::State::unwatched);
    CHECK(standing.use == rules::Use::look_first);
    CHECK(standing.why != "The service says so.");
  }
}

TEST_CASE("an alert that lists the jar is part of a standing that is worked out") {
  const Look look;
  const JarView x9 = look.gathering.jar(*look.ledger.find("X-9"));
  CHECK(std::find(x9.standing.reasons.begin(), x9.standing.reasons.end(),
                  "cellar/shelf-1: cellar/shelf-1 is warm: 30.0 °C.") != x9.standing.reasons.end());
}

TEST_CASE("of a moment that is past a jar's standing asks for nothing, and no note counts") {
  const Look look;
  HistoryRange range;
  range.to = SmallCellar::hour(480);
  const auto then = look.gathering.jar_history(*look.ledger.find("B-01"), range);
  REQUIRE(then.has_value());
  CHECK(then->jar.past);
  CHECK(then->jar.standing.as_of == SmallCellar::hour(480));
  CHECK_FALSE(then->jar.standing.deed.has_value());
  CHECK_FALSE(then->jar.standing.next.has_value());
  CHECK_FALSE(then->jar.standing.urgency.has_value());
  CHECK_FALSE(then->jar.standing.next_date.has_value());
}

TEST_CASE("a young jar settles, and its coverage is counted from its closing") {
  const Look look;
  const JarView x9 = look.gathering.jar(*look.ledger.find("x9"));
  CHECK(x9.jar == "X-9");
  CHECK(x9.standing.state == rules::culture::State::settling);
  CHECK(x9.coverage_percent.value() == doctest::Approx(100.0));
  CHECK(x9.alerts == std::vector<std::uint64_t>{2});
}

TEST_CASE("a jar that no sensor has covered of late is unwatched") {
  const Look look;
  const auto later = Gathering::of(look.loaded.settings, *look.reader, look.ledger,
                                   SmallCellar::hour(720 + 24 * 2));
  REQUIRE(later.has_value());
  const JarView view = later->jar(*look.ledger.find("B-01"));
  CHECK(view.standing.state == rules::culture::State::unwatched);
  CHECK_FALSE(view.air.temperature.has_value());
  // Thirty days and the 90 minutes that the last value held, of 32 days.
  CHECK(view.coverage_percent.value() == doctest::Approx(100.0 * (30 * 24 + 1.5) / (32 * 24)));
}

TEST_CASE("places list their own sensors, jars and the alerts above them") {
  const Look look;
  const auto places = look.gathering.places();
  REQUIRE(places.size() == 4);
  const auto shelf_1 = look.gathering.place("cellar/shelf-1");
  REQUIRE(shelf_1.has_value());
  CHECK(shelf_1->sensors == std::vector<std::string>{"s1"});
  CHECK(shelf_1->jars == std::vector<std::string>{"X-9"});
  CHECK(shelf_1->alerts == std::vector<std::uint64_t>{2});
  CHECK(shelf_1->air.temperature == Celsius(15.0));
  const auto outside = look.gathering.place("outside");
  REQUIRE(outside.has_value());
  CHECK_FALSE(outside->air.temperature.has_value());
  CHECK(outside->jars.empty());
  CHECK_FALSE(look.gathering.place("attic").has_value());
}

TEST_CASE("sensors are live, silent or never heard") {
  const Look look;
  const auto state = [&](const char* id) { return look.gathering.sensor(id).value().state; };
  CHECK(state("s1") == SensorState::live);
  CHECK(state("s2") == SensorState::silent);
  CHECK(state("p1") == SensorState::never_heard);
  CHECK_FALSE(look.gathering.sensor("s3").has_value());
  const SensorView s2 = look.gathering.sensor("s2").value();
  REQUIRE(s2.readings.size() == 2);
  CHECK(s2.readings[0].measured_at == SmallCellar::hour(47.5));
  CHECK(s2.readings[1].value == 70.0);
}

TEST_CASE("a sensor that is no longer configured is shown with where it hung") {
  Look look;
  std::erase_if(look.loaded.settings.sensors,
                [](const auto& sensor) { return sensor.spec.id == "s2"; });
  const auto gathering =
      Gathering::of(look.loaded.settings, *look.reader, look.ledger, SmallCellar::hour(720));
  REQUIRE(gathering.has_value());
  const auto sensors = gathering->sensors();
  REQUIRE(sensors.size() == 4);
  CHECK(sensors.back().id == "s2");
  CHECK(sensors.back().state == SensorState::not_configured);
  CHECK(sensors.back().place == "cellar/shelf-2");
  CHECK_FALSE(sensors.back().hold.has_value());
}

TEST_CASE("an untrusted reading neither speaks nor silences what was said before it") {
  const Look look;
  {
    const auto store = Store::open(look.cellar.history());
    REQUIRE(store.has_value());
    REQUIRE((*store)->begin().has_value());
    REQUIRE((*store)
                ->put_reading({"s1", Quantity::temperature, 900.0, Unit::celsius,
                               SmallCellar::hour(720.25), SmallCellar::hour(720.25), kOutOfRange})
                .has_value());
    REQUIRE((*store)->commit().has_value());
  }
  const auto reader = Reader::open(look.cellar.history(), "");
  REQUIRE(reader.has_value());
  const auto gathering =
      Gathering::of(look.loaded.settings, **reader, look.ledger,
                    shown_now(look.loaded.settings, **reader, {SmallCellar::hour(9000)}));
  REQUIRE(gathering.has_value());
  CHECK(gathering->now() == SmallCellar::hour(720.25));
  CHECK(gathering->place("cellar/shelf-1")->air.temperature == Celsius(15.0));
  const SensorView s1 = gathering->sensor("s1").value();
  CHECK(s1.readings[0].value == 900.0);
  CHECK_FALSE(s1.readings[0].trusted);
}

TEST_CASE("a jar's history holds its stays, air, alerts and journal") {
  const Look look;
  const Jar& jar = *look.ledger.find("B-01");
  const auto view = look.gathering.jar_history(jar, {});
  REQUIRE(view.has_value());
  CHECK(view->summary.from == SmallCellar::kStart);
  CHECK(view->summary.to == SmallCellar::hour(720));
  CHECK(view->summary.coverage_percent == doctest::Approx(100.0));
  CHECK(view->summary.highest_temperature == Celsius(30.0));
  REQUIRE(view->stays.size() == 2);
  CHECK(view->stays[1].place == "cellar/shelf-2");
  // 15 °C, an hour of 30 °C, 15 °C again; then 10 °C on the other shelf.
  REQUIRE(view->exposure.size() == 4);
  CHECK(view->exposure[1].temperature == Celsius(30.0));
  CHECK(view->exposure[1].from == SmallCellar::hour(100));
  CHECK(view->exposure[1].to == SmallCellar::hour(101));
  CHECK(view->exposure[3].sensor == "top");
  REQUIRE(view->weeks.size() == 5);  // 30 days
  CHECK(view->weeks[0].highest_temperature == Celsius(30.0));
  CHECK(view->weeks[1].highest_temperature == Celsius(15.0));
  CHECK(view->weeks[4].to == SmallCellar::hour(720));
  CHECK(view->slices.size() <= 48);
  // Alert 1 no longer lists the jar, but once did.
  REQUIRE(view->alerts.size() == 1);
  CHECK(view->alerts[0].alert.number == 1);
  REQUIRE(view->journal.size() == 2);
  CHECK(view->journal[1].sentence == "move b1 to cellar/shelf-2");
}

TEST_CASE("a part of a jar's history is cut at its ends") {
  const Look look;
  const Jar& jar = *look.ledger.find("B-01");
  HistoryRange range;
  range.from = SmallCellar::hour(480);
  range.to = SmallCellar::hour(5000);
  range.every = hours(24);
  const auto view = look.gathering.jar_history(jar, range);
  REQUIRE(view.has_value());
  CHECK(view->summary.from == SmallCellar::hour(480));
  CHECK(view->summary.to == SmallCellar::hour(720));  // never later than now
  CHECK(view->exposure.size() == 10);
  CHECK(view->stays.size() == 1);
  CHECK(view->alerts.empty());
  CHECK(view->summary.highest_temperature == Celsius(10.0));
}

TEST_CASE("a stretch that ends before it begins is empty, not an error") {
  const Look look;
  HistoryRange range;
  range.to = SmallCellar::hour(-5);
  const auto view = look.gathering.jar_history(*look.ledger.find("B-01"), range);
  REQUIRE(view.has_value());
  CHECK(view->exposure.empty());
  CHECK(view->weeks.empty());
}

TEST_CASE("an alert that cannot be read is named") {
  const Look look;
  {
    const auto store = Store::open(look.cellar.history());
    REQUIRE(store.has_value());
    REQUIRE((*store)->begin().has_value());
    REQUIRE((*store)->put_alert({7, true, "{"}).has_value());
    REQUIRE((*store)->commit().has_value());
  }
  const auto reader = Reader::open(look.cellar.history(), "");
  REQUIRE(reader.has_value());
  const auto gathering =
      Gathering::of(look.loaded.settings, **reader, look.ledger, SmallCellar::hour(720));
  REQUIRE_FALSE(gathering.has_value());
  CHECK(gathering.error().kind == ErrorKind::corrupt);
  CHECK(gathering.error().text.starts_with("alert 7: "));
}

TEST_CASE("the last eight weeks are there by half days, counted from the weeks") {
  const Look look;
  const Jar* jar = look.ledger.find("B-01");
  REQUIRE(jar != nullptr);
  const auto view = look.gathering.jar_history(*jar, {});
  REQUIRE(view.has_value());
  REQUIRE(view->weeks.size() == 5);
  REQUIRE_FALSE(view->half_days.empty());
  CHECK(view->half_days.front().from == view->weeks.front().from);
  CHECK(view->half_days.back().to == view->weeks.back().to);
  CHECK(view->half_days[0].to - view->half_days[0].from == hours(12));
}

TEST_CASE("curves have as many points as are asked for, with the jar's own limits") {
  const Look look;
  const Jar* jar = look.ledger.find("B-01");
  REQUIRE(jar != nullptr);
  HistoryRange range;
  range.curve_points = 120;
  const auto view = look.gathering.jar_history(*jar, range);
  REQUIRE(view.has_value());
  CHECK(view->slices.size() == 120);
  CHECK(view->life.size() == 121);
  CHECK(view->limits.moulds.cautious < view->limits.moulds.likely);
  CHECK(view->limits.yeasts.likely == doctest::Approx(0.88));
}

}  // namespace torpor::daemon
