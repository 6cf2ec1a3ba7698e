#include "sensors/trust.h"

#include <doctest/doctest.h>

#include <tuple>

#include "tests/sensors/series.h"

namespace torpor::testing {
namespace {

constexpr int kDay = 1440;  // min

// A sensor that has known this air from minute 0 up to, not including, `minutes`.
ValueTrust after_room(Quantity quantity, int minutes) {
  ValueTrust trust(quantity, Surroundings::open_air);
  for (int m = 0; m < minutes; ++m) {
    const double value = quantity == Quantity::temperature ? room_temperature(m) : room_humidity(m);
    const Judgement judgement = trust.judge(seen(quantity, m, value));
    REQUIRE_MESSAGE(judgement.doubts == kNoDoubt, "minute " << m);
  }
  return trust;
}

SensorTrust heard_every(Duration pause, int messages, std::optional<Duration> expected,
                        Duration delay = Duration{}) {
  SensorTrust trust(expected);
  for (int i = 0; i < messages; ++i) {
    const Instant measured = kSeriesStart + i * pause;
    trust.heard(measured, measured + delay, true);
  }
  return trust;
}

TEST_CASE("four days of a room by the minute are believed whole") {
  (void)after_room(Quantity::temperature, 4 * kDay);
  (void)after_room(Quantity::humidity, 4 * kDay);
}

TEST_CASE("a value past the physical range is doubted and changes nothing") {
  ValueTrust trust = after_room(Quantity::temperature, 60);
  CHECK(trust.judge(seen(Quantity::temperature, 60, 100.1)).doubts == kImpossible);
  const Judgement failed = trust.judge(seen(Quantity::temperature, 61, -127));
  CHECK(failed.doubts == kImpossible);
  CHECK_FALSE(failed.trusted());
  CHECK(failed.reasons.front() ==
        "-127.0 °C cannot be (expected -60 to 100): check the sensor, its wiring and its unit");
  // The largest number there is has 309 digits, and nobody reads them.
  CHECK(trust.judge(seen(Quantity::temperature, 61, 1e308)).reasons.front() ==
        "1e+308 °C cannot be (expected -60 to 100): check the sensor, its wiring and its unit");
  CHECK(trust.judge(seen(Quantity::temperature, 62, room_temperature(62))).trusted());
}

TEST_CASE("a change is doubted just past what air can do in the time between") {
  for (const auto& [quantity, step, rate] :
       {std::tuple(Quantity::temperature, 2.0, 1.0), std::tuple(Quantity::humidity, 8.0, 4.0)}) {
    ValueTrust within(quantity, Surroundings::open_air), past = within;
    (void)within.judge(seen(quantity, 0, 40));
    (void)past.judge(seen(quantity, 0, 40));
    CHECK(within.judge(seen(quantity, 5, 40 + step + 5 * rate)).doubts == kNoDoubt);
    const Judgement jump = past.judge(seen(quantity, 5, 40.1 + step + 5 * rate));
    CHECK(jump.doubts == kJump);
    CHECK(jump.trusted());  // heat that is real must not wait
  }
}

TEST_CASE("a leap past what carrying the sensor about can make is not believed") {
  for (const auto& [quantity, leap] :
       {std::pair(Quantity::temperature, 26.0), std::pair(Quantity::humidity, 49.0)}) {
    ValueTrust within(quantity, Surroundings::open_air), past = within;
    (void)within.judge(seen(quantity, 0, 40));
    (void)past.judge(seen(quantity, 0, 40));
    CHECK(within.judge(seen(quantity, 1, 40 + leap)).trusted());
    const Judgement judgement = past.judge(seen(quantity, 1, 40.1 + leap));
    CHECK(judgement.doubts == (kJump | kLeap));
    CHECK_FALSE(judgement.trusted());
  }
}

TEST_CASE("a spike is doubted alone, and the reading after it is believed") {
  ValueTrust trust = after_room(Quantity::humidity, 100);
  const Judgement spike = trust.judge(seen(Quantity::humidity, 100, 99.0));
  CHECK(spike.doubts == kJump);
  CHECK(trust.judge(seen(Quantity::humidity, 101, room_humidity(101))).trusted());
}

TEST_CASE("a new level is believed once it has stood for a quarter of an hour") {
  ValueTrust trust = after_room(Quantity::temperature, 100);
  const double level = room_temperature(99) + 20.0;
  for (int m = 100; m < 115; ++m) {
    CHECK((trust.judge(seen(Quantity::temperature, m, level)).doubts & kJump) != 0);
  }
  CHECK(trust.judge(seen(Quantity::temperature, 115, level)).doubts == kNoDoubt);
  CHECK(trust.judge(seen(Quantity::temperature, 116, level)).doubts == kNoDoubt);
}

TEST_CASE("a unit that changed is recognised and not believed however long it stands") {
  ValueTrust trust = after_room(Quantity::temperature, 100);
  for (int m = 100; m < 400; ++m) {
    const Judgement wrong =
        trust.judge(seen(Quantity::temperature, m, room_temperature(m) * 1.8 + 32.0));
    REQUIRE(wrong.doubts == kWrongUnit);
  }
  const Judgement mended = trust.judge(seen(Quantity::temperature, 400, room_temperature(400)));
  CHECK(mended.trusted());
  ValueTrust humidity = after_room(Quantity::humidity, 100);
  const Judgement share = humidity.judge(seen(Quantity::humidity, 100, 0.7));
  CHECK(share.doubts == kWrongUnit);
  CHECK(share.reasons.front().find("a share of 1 where % is configured; correct `unit`") !=
        std::string::npos);
}

TEST_CASE("a value that stands is doubted after a day while the air is not known yet") {
  ValueTrust trust(Quantity::humidity, Surroundings::open_air);
  REQUIRE(trust.judge(seen(Quantity::humidity, -1, 71.4)).trusted());
  for (int m = 0; m <= kDay; ++m) {
    REQUIRE(trust.judge(seen(Quantity::humidity, m, 71.3)).trusted());
  }
  const Judgement judgement = trust.judge(seen(Quantity::humidity, kDay + 1, 71.3));
  CHECK(judgement.doubts == kStuck);
  CHECK(judgement.reasons.front() ==
        "71.3 % has stood still for 24 h; air is hardly ever so calm: breathe on the sensor, and "
        "restart or replace it if nothing moves");
}

TEST_CASE("what has never moved by a step of its own is not called stuck") {
  // Its resolution is not known: a deep cellar under a coarse sensor looks the same.
  ValueTrust still(Quantity::temperature, Surroundings::open_air), coarse = still;
  (void)coarse.judge(seen(Quantity::temperature, -60, 15.0));
  for (int m = 0; m < 20 * kDay; m += 30) {
    REQUIRE(still.judge(seen(Quantity::temperature, m, 11.0)).trusted());
    REQUIRE(coarse.judge(seen(Quantity::temperature, m, 11.0)).trusted());
  }
}

TEST_CASE("in air that is known a stuck sensor is doubted within hours") {
  ValueTrust trust = after_room(Quantity::temperature, 4 * kDay);
  const double stands = room_temperature(4 * kDay - 1);
  int doubted_at = 0;
  for (int m = 0; m < kDay && doubted_at == 0; ++m) {
    if (!trust.judge(seen(Quantity::temperature, 4 * kDay + m, stands)).trusted()) doubted_at = m;
  }
  CHECK(doubted_at > 2 * 60);
  CHECK(doubted_at < 8 * 60);
}

TEST_CASE("a headspace that stands steady for a week is normal") {
  ValueTrust trust(Quantity::humidity, Surroundings::enclosed);
  for (int m = 0; m < 13 * kDay; m += 10) {
    REQUIRE(trust.judge(seen(Quantity::humidity, m, 84.6)).trusted());
  }
}

TEST_CASE(
    "humidity at its stop is believed as dew for six hours and then doubted until it is dry") {
  ValueTrust trust = after_room(Quantity::humidity, 60);
  for (int m = 60; m < 120; ++m) (void)trust.judge(seen(Quantity::humidity, m, 100.0));
  for (int m = 120; m < 60 + 6 * 60; ++m) {
    REQUIRE(trust.judge(seen(Quantity::humidity, m, 99.9 + 0.1 * (m % 2))).trusted());
  }
  int m = 60 + 6 * 60;
  CHECK(trust.judge(seen(Quantity::humidity, m, 100.0)).doubts == kSaturated);
  for (++m; m < 60 + 8 * 60; ++m) {
    REQUIRE(trust.judge(seen(Quantity::humidity, m, 96.0 + 0.1 * (m % 2))).doubts == kSaturated);
    if (m == 60 + 6 * 60 + 60) break;
  }
  CHECK(trust.judge(seen(Quantity::humidity, m + 1, 96.0)).trusted());
}

namespace {

// A sensor in the weather: every ten minutes for so many hours, at one humidity, while the air
// warms by `kelvin` an hour; the doubts of the last reading. A day of usual air goes before.
std::uint16_t stands_at(double percent, int hours, double kelvin, Surroundings where) {
  ValueTrust trust(Quantity::humidity, where);
  std::uint16_t doubts = 0;
  int minute = 0;
  for (; minute < 4 * 1440; minute += 10) {
    (void)trust.judge(seen(Quantity::humidity, minute, room_humidity(minute)),
                      room_temperature(minute));
  }
  const double start = room_temperature(minute);
  // Not a leap: it comes there by and by.
  for (double at = room_humidity(minute); at < percent; at += 5.0, minute += 10) {
    (void)trust.judge(seen(Quantity::humidity, minute, at), start);
  }
  for (const int began = minute; minute <= began + hours * 60; minute += 10) {
    doubts = trust
                 .judge(seen(Quantity::humidity, minute, percent),
                        start + kelvin * (minute - began) / 60.0)
                 .doubts;
  }
  return doubts;
}

}  // namespace

TEST_CASE("saturated air stands still in fog, and there only") {
  constexpr auto kWeather = Surroundings::weather, kRoom = Surroundings::open_air;
  CHECK(stands_at(99.0, 14, 0.1, kWeather) == kNoDoubt);
  CHECK(stands_at(100.0, 40, 0.0, kWeather) == kNoDoubt);
  CHECK(stands_at(97.0, 40, 0.0, kWeather) == kNoDoubt);
  CHECK(stands_at(96.0, 40, 0.0, kWeather) == kStuck);  // below saturation air moves
  CHECK(stands_at(60.0, 40, 0.0, kWeather) == kStuck);
  CHECK(stands_at(99.0, 40, 0.0, kRoom) == kStuck);
  CHECK(stands_at(100.0, 7, 0.0, kRoom) == (kStuck | kSaturated));
}

TEST_CASE("what stays saturated while it warms, or for more than three days, is no fog") {
  constexpr auto kWeather = Surroundings::weather;
  CHECK(stands_at(99.0, 5, 1.1, kWeather) == kNoDoubt);    // 5.5 K: not yet
  CHECK(stands_at(99.0, 6, 1.1, kWeather) == kSaturated);  // 6.6 K: air would be at two thirds
  CHECK(stands_at(99.0, 60, 0.3, kWeather) == kNoDoubt);   // a slow thaw in the rain
  CHECK(stands_at(99.0, 72, 0.0, kWeather) == kNoDoubt);
  CHECK(stands_at(99.0, 73, 0.0, kWeather) == kSaturated);
}

TEST_CASE("two devices that take turns are told from one that swings") {
  ValueTrust trust(Quantity::temperature, Surroundings::open_air);
  bool doubted = false;
  for (int m = 0; m < 12; ++m) {
    doubted = (trust.judge(seen(Quantity::temperature, m, 18.0 + (m % 2))).doubts & kTwoDevices);
    CHECK(doubted == (m == 11));
  }
  ValueTrust alike(Quantity::temperature, Surroundings::open_air);
  for (int m = 0; m < 40; ++m) {
    CHECK(alike.judge(seen(Quantity::temperature, m, 18.0 + 0.3 * (m % 2))).trusted());
  }
}

TEST_CASE("a reading older than the newest is judged for its range alone") {
  ValueTrust trust = after_room(Quantity::temperature, 100);
  CHECK(trust.judge(seen(Quantity::temperature, 50, 60.0)).trusted());
  CHECK(trust.judge(seen(Quantity::temperature, 50, 200.0)).doubts == kImpossible);
  CHECK(trust.judge(seen(Quantity::temperature, 100, room_temperature(100))).trusted());
}

TEST_CASE("a sensor is silent after three expected intervals, configured or learned") {
  using std::chrono::minutes;
  for (const std::optional<Duration> expected : {std::optional<Duration>(minutes(2)), {}}) {
    const SensorTrust trust = heard_every(minutes(2), 9, expected);
    CHECK(trust.interval() == minutes(2));
    const Instant last = kSeriesStart + minutes(16);
    CHECK(trust.at(last + minutes(6)).doubts == kNoDoubt);
    const Judgement silent = trust.at(last + minutes(6) + Duration(1));
    CHECK(silent.doubts == kSilent);
    CHECK(silent.trusted());  // what it said before is not doubted
    CHECK(silent.reasons.front() ==
          "silent for 6 min, where a message was expected every 2 min: check its battery, its "
          "reach and the broker");
  }
  CHECK_FALSE(heard_every(minutes(2), 8, {}).interval());
}

TEST_CASE("the learned interval is longer than nine in ten of the gaps") {
  using std::chrono::seconds;
  SensorTrust trust(std::nullopt);
  // Temperature, and a second later humidity, every minute.
  for (int i = 0; i < 40; ++i) {
    const Instant at = kSeriesStart + (i / 2) * seconds(60) + (i % 2) * seconds(1);
    trust.heard(at, at, true);
  }
  CHECK(trust.learned_interval() == seconds(59));
  CHECK(trust.interval() == seconds(59));
}

TEST_CASE("a low battery is told and its readings are believed") {
  SensorTrust trust(std::nullopt);
  trust.battery(15.0);
  CHECK(trust.at(kSeriesStart).doubts == kNoDoubt);
  trust.battery(14.9);
  CHECK(trust.at(kSeriesStart).doubts == kLowBattery);
  CHECK(trust.at(kSeriesStart).trusted());
}

TEST_CASE("a charge that no battery has is told, and no rule sees it") {
  SensorTrust trust(std::nullopt);
  CHECK(trust.battery_percent() == std::nullopt);
  trust.battery(100.0);
  CHECK(trust.battery_percent() == 100.0);
  trust.battery(255.0);
  CHECK(trust.battery_percent() == std::nullopt);
  CHECK(trust.at(kSeriesStart).doubts == kBatteryAstray);
  CHECK(trust.at(kSeriesStart).trusted());
  CHECK(trust.at(kSeriesStart).reasons.front() ==
        "its battery cannot be at 255 % (expected 0 to 100): it does not know, or `battery` in its "
        "configuration names another field or unit");
}

TEST_CASE("a clock astray shows in the freshest of its messages") {
  using std::chrono::minutes;
  const auto doubts = [](Duration delay) {
    return heard_every(minutes(1), 10, {}, delay).at(kSeriesStart + minutes(9)).doubts;
  };
  CHECK(doubts(Duration{}) == kNoDoubt);
  CHECK(doubts(minutes(-1)) == kNoDoubt);
  CHECK(doubts(minutes(-1) - Duration(1)) == kClockAstray);
  CHECK(doubts(minutes(10)) == kNoDoubt);
  CHECK(doubts(minutes(10) + Duration(1)) == kClockAstray);
}

TEST_CASE("a backlog says nothing of the clock") {
  using std::chrono::hours;
  using std::chrono::minutes;
  SensorTrust trust = heard_every(minutes(1), 10, {});
  for (int i = 10; i < 200; ++i) {
    trust.heard(kSeriesStart + i * minutes(1), kSeriesStart + hours(4) + Duration(i), true);
  }
  CHECK((trust.at(kSeriesStart + minutes(199)).doubts & kClockAstray) == 0);
}

}  // namespace
}  // namespace torpor::testing
