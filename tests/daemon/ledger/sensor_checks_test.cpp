#include "daemon/ledger/sensor_checks.h"

#include <doctest/doctest.h>

#include "tests/daemon/ledger/told_world.h"

namespace torpor::daemon {

using test::Cellar;
using test::contains;
using test::utc;

namespace {

// What the engine finds of s1 in table salt: 4.2 % too low.
rules::FinishedCheck finished_low(Instant at) {
  const Check check{at, Quantity::humidity, 75.66, 71.46, 0.4};
  return {"s1", Salt::table_salt, check, "Done in table salt."};
}

Told end(Cellar& cellar, const rules::FinishedCheck& finished) {
  Told told = cellar.ledger.end_check(finished, cellar.now, cellar.wall);
  cellar.journal.insert(cellar.journal.end(), told.entries.begin(), told.entries.end());
  return told;
}

}  // namespace

TEST_CASE("a check is begun by a sentence and answered with what to do") {
  Cellar cellar;
  const Told told = cellar.tell("calibrate S1 in table salt by \"Mara\"");
  CHECK(contains(told.answer,
                 "s1: its check in table salt begins, Tue 10 Mar 13:00 (entry 1). Wet a "
                 "spoonful of table salt"));
  CHECK(contains(told.answer, "75.7 % is expected at 12.0 °C, its temperature now"));
  CHECK(contains(told.answer, "6 h at least"));
  CHECK(contains(told.answer, "it does not speak for it"));
  REQUIRE(told.inputs.size() == 1);
  const auto& begun = std::get<rules::CheckBegunInput>(told.inputs.front());
  CHECK(begun.sensor == "s1");
  CHECK(begun.means == CheckMeans(Salt::table_salt));
  CHECK(begun.at == cellar.now);
  CHECK(told.entries.front().by == "Mara");
  const auto& waiting = cellar.ledger.sensor_checks().at("s1").waiting;
  REQUIRE(waiting);
  CHECK(*waiting == SensorChecks::Waiting{1, Salt::table_salt, cellar.now});
  CHECK(cellar.ledger.calibrations().empty());
}

TEST_CASE("a sensor is compared with another instrument where it hangs") {
  Cellar cellar;
  const Told told = cellar.tell("check S1 against 21.4 degC");
  CHECK(told.answer ==
        "s1: its check against 21.4 °C begins, Tue 10 Mar 13:00 (entry 1). Keep both in the same "
        "still air, side by side, out of sun and breath, until three of its readings have come and "
        "5 min are over. It goes on speaking for its air; the result comes by itself");
  const CheckMeans beside = Instrument{Quantity::temperature, 21.4, 0.25};
  CHECK(std::get<rules::CheckBegunInput>(told.inputs.front()).means == beside);
  const Told ended =
      end(cellar, {"s1", beside, Check{cellar.now, Quantity::temperature, 21.4, 22.0, 0.27},
                   "Done against 21.4 °C."});
  CHECK(ended.answer == "s1: Done against 21.4 °C. (entry 2)");
  CHECK(done_text(*cellar.ledger.sensor_checks().at("s1").newest(Quantity::temperature, cellar.now),
                  cellar.zone) ==
        "checked against 21.4 °C on 2026-03-10: read 0.6 K too high (entry 2)");
  CHECK(cellar.ledger.calibrations().at("s1").at(Quantity::temperature, cellar.now).offset ==
        doctest::Approx(-0.6));
  CHECK(contains(cellar.refused("check p7 against 55 %"), "p7 measures no humidity"));
}

TEST_CASE("a check that cannot be is refused with what would do") {
  Cellar cellar;
  CHECK(contains(cellar.refused("calibrate s11 in table salt"), "did you mean s1?"));
  CHECK(contains(cellar.refused("calibrate x in table salt"), "there are s1, p7 and h2"));
  CHECK(
      contains(cellar.refused("calibrate p7 in table salt"), "ice would tell of its temperature"));
  CHECK(contains(cellar.refused("calibrate p7 in table salt"), "check p7 in ice"));
  CHECK(contains(cellar.refused("calibrate h2 in table salt"), "what a salt gives depends on it"));
  CHECK(contains(cellar.refused("check h2 in ice"), "measures no temperature"));
  CHECK(contains(cellar.refused("check s1 in ice at 2026-03-10T12:00"), "begins when it is told"));
  (void)cellar.tell("check p7 in ice at 2026-03-10T12:50");
}

TEST_CASE("the result is an entry of its own and corrects from its date on") {
  Cellar cellar;
  (void)cellar.tell("calibrate s1 in table salt");
  const Instant done = cellar.now + std::chrono::hours(11);
  const Told told = end(cellar, finished_low(done));
  CHECK(told.answer == "s1: Done in table salt. (entry 2)");
  REQUIRE(told.inputs.size() == 1);
  CHECK(std::get<rules::SensorCheckedInput>(told.inputs.front()).check.expected == 75.66);
  const SensorChecks& checks = cellar.ledger.sensor_checks().at("s1");
  CHECK_FALSE(checks.waiting);
  REQUIRE(checks.newest(Quantity::humidity, done) != nullptr);
  CHECK(checks.newest(Quantity::humidity, done - Duration(1)) == nullptr);
  CHECK(done_text(*checks.newest(Quantity::humidity, done), cellar.zone) ==
        "checked in table salt on 2026-03-11: read 4.2 % too low (entry 2)");
  const Calibration& calibration = cellar.ledger.calibrations().at("s1");
  CHECK(calibration.at(Quantity::humidity, done).offset == doctest::Approx(4.2));
  CHECK(calibration.at(Quantity::humidity, done - Duration(1)).points == 0);
  // What no longer waits ends once.
  CHECK(end(cellar, finished_low(done)).entries.empty());
}

TEST_CASE("a result is withdrawn, and every jar is worked out anew from its date") {
  Cellar cellar;
  (void)cellar.tell("new jar B-07 in cellar");
  (void)cellar.tell("calibrate s1 in table salt");
  (void)end(cellar, finished_low(cellar.now));
  CHECK(contains(cellar.refused("withdraw entry 2 because \"no\""),
                 "has ended; withdraw its result"));
  const Told told = cellar.tell("withdraw entry 3 because \"it was sugar\"");
  CHECK(contains(told.answer, "what s1 said since is read without it"));
  REQUIRE(told.inputs.size() == 2);
  CHECK(std::get<rules::CheckWithdrawnInput>(told.inputs[0]).check.shown == 71.46);
  CHECK(std::get<rules::JarOutdatedInput>(told.inputs[1]).jar == "B-07");
  CHECK(std::get<rules::JarOutdatedInput>(told.inputs[1]).from == cellar.now);
  CHECK(cellar.ledger.calibrations().empty());
  CHECK_FALSE(cellar.ledger.sensor_checks().at("s1").waiting);
  CHECK(contains(cellar.refused("withdraw entry 3 because \"no\""), "withdrawn already"));
}

TEST_CASE("a check that waits is given up by withdrawing it, and an earlier one waits again") {
  Cellar cellar;
  (void)cellar.tell("calibrate s1 in table salt");
  CHECK(contains(cellar.tell("calibrate s1 in NaCl").answer, "in place of the one that waited"));
  const Told second = cellar.tell("withdraw entry 2 because \"twice\"");
  REQUIRE(second.inputs.size() == 2);
  CHECK(std::get<rules::CheckBegunInput>(second.inputs[1]).at == cellar.now);
  CHECK(contains(second.answer, "the check of entry 1, in whose place it was begun, waits again"));
  const Told first = cellar.tell("withdraw entry 1 because \"no salt\"");
  REQUIRE(first.inputs.size() == 1);
  CHECK(std::get<rules::CheckAbandonedInput>(first.inputs[0]).sensor == "s1");
  CHECK_FALSE(cellar.ledger.sensor_checks().count("s1"));
}

TEST_CASE("a check without a result leaves nothing to withdraw or to correct") {
  Cellar cellar;
  (void)cellar.tell("check p7 in ice");
  const Told told = end(cellar, {"p7", MeltingIce{}, std::nullopt, "The check gave no result."});
  REQUIRE(told.entries.size() == 1);
  CHECK(told.inputs.empty());
  CHECK(told.entries.front().happened_at == cellar.now);
  CHECK(contains(cellar.refused("withdraw entry 2 because \"no\""), "gave no result"));
  CHECK(cellar.ledger.calibrations().empty());
}

TEST_CASE("a ledger replayed from the journal knows the same checks") {
  Cellar cellar;
  (void)cellar.tell("calibrate s1 in table salt");
  (void)end(cellar, finished_low(cellar.now));
  (void)cellar.tell("calibrate s1 in LiCl");
  (void)end(cellar, finished_low(cellar.now + std::chrono::hours(30)));
  (void)cellar.tell("withdraw entry 2 because \"wrong salt\"");
  (void)cellar.tell("check p7 in ice");
  Ledger replayed;
  for (const JournalEntry& entry : cellar.journal) REQUIRE(replayed.replay(entry));
  CHECK(replayed.sensor_checks() == cellar.ledger.sensor_checks());
  CHECK(replayed.calibrations() == cellar.ledger.calibrations());
  REQUIRE(replayed.placements().size() == 1);  // the check that waits
  CHECK(std::get<rules::CheckBegunInput>(replayed.placements()[0]).sensor == "p7");
}

TEST_CASE("ask names a sensor") {
  Cellar cellar;
  CHECK(contains(cellar.tell("ask S1").answer, "s1: 14.2 °C"));
}

}  // namespace torpor::daemon
