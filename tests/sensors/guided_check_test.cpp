#include "sensors/guided_check.h"

#include <doctest/doctest.h>

#include <cmath>
#include <utility>
#include <vector>

#include "tests/sensors/series.h"

namespace torpor::testing {
namespace {

// A sensor that reads `off` too high is shut up with table salt at `celsius`: from 60 % the air
// comes to its rest with a time constant of 90 minutes.
void lie_in_salt(GuidedCheck& check, double off, double celsius, int minutes) {
  for (int m = 0; m <= minutes && check.state() == GuidedCheck::State::waiting; m += 5) {
    const double rest = humidity_over(Salt::table_salt, Celsius(20))->value();
    const double air = rest + (60.0 - rest) * std::exp(-m / 90.0);
    check.add(Quantity::temperature, at_minute(m), celsius + 0.02 * wobble(m));
    check.add(Quantity::humidity, at_minute(m), tenths(air + off + 0.02 * wobble(m)));
  }
}

TEST_CASE("a drifted sensor is found out in table salt, with an uncertainty that covers it") {
  for (const double off : {-6.0, 0.0, 4.2}) {
    GuidedCheck check(Salt::table_salt, kSeriesStart);
    CHECK(check.words() == "Waiting for its first reading in table salt.");
    lie_in_salt(check, off, 20.0, 48 * 60);
    REQUIRE(check.state() == GuidedCheck::State::done);
    const Check& result = *check.result();
    CHECK(result.quantity == Quantity::humidity);
    CHECK(result.expected == doctest::Approx(75.479).epsilon(0.0005));  // Greenspan 1977, 20 degC
    CHECK(std::abs(result.shown - result.expected - off) < 2.0 * result.uncertainty);
    CHECK(result.uncertainty < 1.0);
    CHECK(result.at >= kSeriesStart + std::chrono::hours(6));
  }
}

TEST_CASE("the guide names what is expected at the measured temperature, and then the result") {
  GuidedCheck check(Salt::table_salt, kSeriesStart);
  lie_in_salt(check, 4.2, 20.0, 60);
  CHECK(check.words().find("In table salt for 1.0 h: shows 71.") == 0);
  CHECK(check.words().find(", 75.5 % is expected at 20.0 °C;") != std::string::npos);
  CHECK(check.words().find("Leave it closed.") != std::string::npos);
  lie_in_salt(check, 4.2, 20.0, 48 * 60);
  CHECK(check.words().find("so it reads 4.") != std::string::npos);
  CHECK(check.words().find("% too high") != std::string::npos);
}

TEST_CASE("a sensor that stands still is not done before six hours") {
  GuidedCheck check(Salt::table_salt, kSeriesStart);
  for (int m = 0; m < 6 * 60; m += 5) {
    check.add(Quantity::temperature, at_minute(m), 20.0);
    check.add(Quantity::humidity, at_minute(m), 76.0);
  }
  CHECK(check.state() == GuidedCheck::State::waiting);
  check.add(Quantity::humidity, at_minute(6 * 60), 76.0);
  CHECK(check.state() == GuidedCheck::State::done);
}

TEST_CASE("what cannot be a salt's humidity is no calibration but a mistake") {
  GuidedCheck check(Salt::table_salt, kSeriesStart);
  lie_in_salt(check, 16.0, 20.0, 48 * 60);
  CHECK(check.state() == GuidedCheck::State::failed);
  CHECK_FALSE(check.result());
  CHECK(check.words().find("too far for ageing: see that the salt is wet") != std::string::npos);
}

TEST_CASE("without rest within two days, or without a temperature, there is no result") {
  GuidedCheck restless(Salt::table_salt, kSeriesStart);
  GuidedCheck blind = restless;
  for (int m = 0; m <= 49 * 60; m += 10) {
    restless.add(Quantity::temperature, at_minute(m), 20.0);
    restless.add(Quantity::humidity, at_minute(m), room_humidity(m) + (m / 10) % 3);
    blind.add(Quantity::humidity, at_minute(m), 75.5);
  }
  CHECK(restless.state() == GuidedCheck::State::failed);
  CHECK(restless.words().find("it did not come to rest in 48 h") != std::string::npos);
  CHECK(blind.state() == GuidedCheck::State::failed);
  CHECK(blind.words().find("it sends no temperature") != std::string::npos);
}

TEST_CASE("a sensor that hardly speaks in the salt gives no result") {
  GuidedCheck check(Salt::table_salt, kSeriesStart);
  // Less than four readings in any window.
  for (int h = 0; h <= 60 && check.state() == GuidedCheck::State::waiting; h += 6) {
    check.add(Quantity::temperature, at_minute(h * 60), 20.0);
    check.add(Quantity::humidity, at_minute(h * 60), 75.5);
  }
  CHECK(check.state() == GuidedCheck::State::failed);
  CHECK(check.words().find("it sent too few readings") != std::string::npos);
  CHECK(check.is_out());
}

TEST_CASE("where the salt's humidity is not known there is no result") {
  GuidedCheck check(Salt::table_salt, kSeriesStart);
  lie_in_salt(check, 0.0, 55.0, 48 * 60);
  CHECK(check.state() == GuidedCheck::State::failed);
  CHECK(check.words().find("55.0 °C is outside 0 to 50 °C, where table salt is known") !=
        std::string::npos);
}

TEST_CASE("a probe in melting ice shows its own error") {
  GuidedCheck check(MeltingIce{}, kSeriesStart);
  for (int s = 0; s <= 3600 && check.state() == GuidedCheck::State::waiting; s += 15) {
    check.add(Quantity::temperature, at_minute(s / 60.0), 0.6 + 19.0 * std::exp(-s / 90.0));
  }
  REQUIRE(check.state() == GuidedCheck::State::done);
  CHECK(check.result()->quantity == Quantity::temperature);
  CHECK(check.result()->expected == 0.0);
  CHECK(check.result()->shown == doctest::Approx(0.6).epsilon(0.05));
  CHECK(check.words().find("too high") != std::string::npos);
}

TEST_CASE("a sensor lies in the salt until it reads otherwise for half an hour") {
  GuidedCheck check(Salt::table_salt, kSeriesStart);
  CHECK_FALSE(check.take_end());
  lie_in_salt(check, 0.0, 20.0, 48 * 60);
  REQUIRE(check.state() == GuidedCheck::State::done);
  CHECK(check.take_end());
  CHECK_FALSE(check.take_end());
  const int end = static_cast<int>((check.result()->at - kSeriesStart) / std::chrono::minutes(1));
  const auto say = [&](int after, double percent) {
    check.add(Quantity::humidity, at_minute(end + after), percent);
    return check.is_out();
  };
  CHECK_FALSE(say(60, 77.5));
  CHECK_FALSE(say(65, 60.0));
  CHECK_FALSE(say(70, 75.4));  // it was only lifted
  CHECK_FALSE(say(75, 60.0));
  CHECK_FALSE(say(104, 60.0));
  CHECK(say(105, 60.0));
}

TEST_CASE("in a room as damp as the salt a day is enough") {
  GuidedCheck check(Salt::table_salt, kSeriesStart);
  lie_in_salt(check, 0.0, 20.0, 48 * 60);
  REQUIRE(check.state() == GuidedCheck::State::done);
  check.add(Quantity::humidity, check.result()->at + std::chrono::minutes(23 * 60 + 59), 75.4);
  CHECK_FALSE(check.is_out());
  check.add(Quantity::humidity, check.result()->at + std::chrono::hours(24), 75.4);
  CHECK(check.is_out());
}

TEST_CASE("whoever begins a check is told what to do, how long, what to expect and to mind") {
  const std::string salt = GuidedCheck::instructions(Salt::table_salt, Celsius(12.0));
  for (const char* part : {"damp sand", "must not touch", "6 h at least, mostly 12 to 24 h",
                           "75.7 % is expected at 12.0 °C, its temperature now (Greenspan 1977)"}) {
    CAPTURE(part);
    CHECK(salt.find(part) != std::string::npos);
  }
  CHECK(salt.find("Caution") == std::string::npos);
  CHECK(GuidedCheck::instructions(Salt::table_salt, std::nullopt).find("at 20.0 °C (") !=
        std::string::npos);
  CHECK(GuidedCheck::instructions(Salt::potassium_nitrate, Celsius(12.0))
            .find("Caution: it feeds fire") != std::string::npos);
  CHECK(GuidedCheck::instructions(Salt::potassium_carbonate, Celsius(35.0))
            .find("is known from 0 to 30 °C") != std::string::npos);
  CHECK(GuidedCheck::instructions(MeltingIce{}, Celsius(12.0)).find("0.0 °C is expected") !=
        std::string::npos);
}

// What a keeper who asks now and then is told of a sensor that has drifted by 4.2 %.
TEST_CASE("the dialogue of a check in table salt") {
  GuidedCheck check(Salt::table_salt, kSeriesStart);
  std::string dialogue;
  const auto ask = [&](int minute) {
    dialogue += std::to_string(minute / 60) + " h: " + check.words() + "\n";
  };
  ask(0);
  for (int m = 0; m <= 24 * 60; m += 2) {
    const bool in_salt = m < 14 * 60;  // then it is back on its shelf
    const double air = in_salt ? 75.479 + (60.0 - 75.479) * std::exp(-m / 90.0) : 60.0;
    check.add(Quantity::temperature, at_minute(m), 20.0);
    check.add(Quantity::humidity, at_minute(m), tenths(air + 4.2 + 0.02 * wobble(m)));
    if (m == 60 || m == 180 || m == 300 || m == 420 || m == 720) ask(m);
    if (check.is_out()) {
      dialogue += std::to_string(m) + " min: it speaks for its air again\n";
      break;
    }
  }
  CHECK(
      dialogue ==
      "0 h: Waiting for its first reading in table salt.\n"
      "1 h: In table salt for 1.0 h: shows 71.8 %, 75.5 % is expected at 20.0 °C; moving +7.53 an "
      "hour, at rest below 0.15 and not before 6.0 h. Leave it closed.\n"
      "3 h: In table salt for 3.0 h: shows 77.6 %, 75.5 % is expected at 20.0 °C; moving +2.85 an "
      "hour, at rest below 0.15 and not before 6.0 h. Leave it closed.\n"
      "5 h: In table salt for 5.0 h: shows 79.2 %, 75.5 % is expected at 20.0 °C; moving +0.75 an "
      "hour, at rest below 0.15 and not before 6.0 h. Leave it closed.\n"
      "7 h: In table salt for 7.0 h: shows 79.6 %, 75.5 % is expected at 20.0 °C; moving +0.20 an "
      "hour, at rest below 0.15 and not before 6.0 h. Leave it closed.\n"
      "12 h: Done in table salt: it shows 79.5 %, 75.5 % is right, so it reads 4.0 % too high (+/- "
      "1.2). From now on its readings are corrected. Take it out; half an hour later it speaks for "
      "its air again.\n"
      "870 min: it speaks for its air again\n");
}

TEST_CASE("beside another instrument three readings are compared where the sensor hangs") {
  const Instrument beside{Quantity::temperature, 21.4, 0.25};
  GuidedCheck check(beside, kSeriesStart);
  CHECK_FALSE(check.leaves_its_air());
  CHECK(check.words() == "Waiting for its first reading against 21.4 °C.");
  check.add(Quantity::temperature, at_minute(1), 22.0);
  check.add(Quantity::humidity, at_minute(1), 60.0);
  check.add(Quantity::temperature, at_minute(3), 22.1);
  CHECK(check.words() ==
        "Compared against 21.4 °C: 2 of its readings so far; it ends after 3 and 5 min.");
  check.add(Quantity::temperature, at_minute(4), 21.9);
  CHECK(check.state() == GuidedCheck::State::waiting);
  check.add(Quantity::temperature, at_minute(5), 22.0);
  REQUIRE(check.state() == GuidedCheck::State::done);
  CHECK(check.is_out());
  CHECK(check.result()->expected == 21.4);
  CHECK(check.result()->shown == doctest::Approx(22.0));
  // The instrument's, and that of values even within 0.2 K: its width over the root of twelve.
  CHECK(check.result()->uncertainty == doctest::Approx(std::hypot(0.25, 0.2 / std::sqrt(12.0))));
  CHECK(check.words() ==
        "Done against 21.4 °C: it shows 22.0 °C, 21.4 °C is right, so it reads 0.6 K too high (+/- "
        "0.5). From now on its readings are corrected.");
}

TEST_CASE("a comparison in moving air, of too few readings or far off gives no result") {
  const auto run = [](const Instrument& beside, std::vector<std::pair<int, double>> shown) {
    GuidedCheck check(beside, kSeriesStart);
    for (const auto& [minute, value] : shown) check.add(beside.quantity, at_minute(minute), value);
    CHECK(check.is_out());
    return check.words();
  };
  const Instrument warmth{Quantity::temperature, 21.4, 0.25}, damp{Quantity::humidity, 55.0, 2.0};
  CHECK(run(warmth, {{1, 21.0}, {3, 21.4}, {6, 21.7}}) ==
        "The check against 21.4 °C gave no result: the air moved by 0.7 K meanwhile; compare in "
        "still air, and begin again.");
  CHECK(run(damp, {{1, 50.0}, {121, 50.0}}) ==
        "The check against 55.0 % gave no result: it sent too few readings; tell the other "
        "instrument's value anew.");
  CHECK(run(damp, {{1, 75.0}, {3, 75.0}, {6, 75.0}}) ==
        "The check against 55.0 % gave no result: it shows 75.0 where 55.0 was expected, too far "
        "for ageing: see that both are in the same air and that its unit is right, or replace the "
        "sensor.");
}

TEST_CASE("readings from before the check began are not its own") {
  GuidedCheck check(Salt::table_salt, at_minute(60));
  check.add(Quantity::humidity, at_minute(59), 50.0);
  CHECK(check.words() == "Waiting for its first reading in table salt.");
}

}  // namespace
}  // namespace torpor::testing
