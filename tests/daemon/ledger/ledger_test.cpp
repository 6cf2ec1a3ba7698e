#include "daemon/ledger/ledger.h"

#include <doctest/doctest.h>

#include "tests/daemon/ledger/told_world.h"

namespace torpor::daemon {

using test::alert;
using test::Cellar;
using test::contains;
using test::utc;

namespace {

constexpr const char* kB07 =
    "new jar B-07 in cellar/shelf-2 stage IMO-2 rice 1200 g raw 560 g sugar 1250 g topping 60 g "
    "vessel glass 3.8 l empty 1450 g mouth 11 cm cover paper closed 2026-03-02 origin \"beech "
    "hollow, north slope\" by \"Mara\"";

}  // namespace

TEST_CASE("a new jar is registered, journaled and placed for the engine") {
  Cellar cellar;
  const Told told = cellar.tell(kB07);
  CHECK(told.answer ==
        "B-07 is registered in cellar/shelf-2 from Mon 2 Mar 00:00 on, closed 2026-03-02: IMO-2; "
        "rice "
        "1200 g from 560 g raw; sugar 1250 g, 1.04 times the rice; topping 60 g; glass of 3.8 l, "
        "empty 1450 g, mouth 11 cm; cover paper; origin \"beech hollow, north slope\" (entry 1). "
        "Equal weight is common practice and mostly does. Rice as wet as this (61 % water by its "
        "weights) takes about 80 g more (1/2 cup): stir that in to be safe, then tell `add sugar "
        "80 g to B-07 stirred`. It settles "
        "until 2026-03-16: bubbling, sinking and a wet look are normal till then");
  REQUIRE(told.entries.size() == 1);
  const JournalEntry& entry = told.entries.front();
  CHECK(entry.number == 1);
  CHECK(entry.happened_at == utc("2026-03-01T23:00:00Z"));
  CHECK(entry.recorded_at == cellar.wall);
  CHECK(entry.by == "Mara");
  CHECK(entry.sentence == kB07);
  CHECK(contains(entry.act, R"("act":"new_jar")"));
  REQUIRE(told.inputs.size() == 2);
  const auto& placed = std::get<rules::JarPlacedInput>(told.inputs.front());
  const auto& closed = std::get<rules::JarClosedInput>(told.inputs.back());
  CHECK(closed.jar == "B-07");
  CHECK(closed.stage == "IMO-2");
  CHECK(closed.recipe == cellar.ledger.find("B-07")->recipe());
  CHECK(closed.recipe.sugar == Grams(1250));
  CHECK(placed.jar == "B-07");
  CHECK(placed.place == "cellar/shelf-2");
  CHECK(placed.at == utc("2026-03-01T23:00:00Z"));
  CHECK(cellar.ledger.find("b7")->stays ==
        std::vector<Stay>{{"cellar/shelf-2", utc("2026-03-01T23:00:00Z"), std::nullopt}});
}

TEST_CASE("a jar's first stay begins at `at`, else its closed date, else now") {
  Cellar cellar;
  (void)cellar.tell("new jar a1 in cellar closed 2026-03-02 at 2026-03-03T08:00");
  (void)cellar.tell("new jar a2 in cellar closed 2026-03-02");
  (void)cellar.tell("new jar a3 in cellar");
  CHECK(cellar.ledger.find("a1")->stays.front().from == utc("2026-03-03T07:00:00Z"));
  CHECK(cellar.ledger.find("a1")->closed() == utc("2026-03-01T23:00:00Z"));
  CHECK(cellar.ledger.find("a2")->stays.front().from == utc("2026-03-01T23:00:00Z"));
  CHECK(cellar.ledger.find("a3")->stays.front().from == cellar.now);
  CHECK(cellar.ledger.find("a3")->closed() == cellar.now);
  CHECK(cellar.ledger.find("a3")->registered_at == cellar.now);
}

TEST_CASE("a bare registration says which figures cannot be known") {
  Cellar cellar;
  CHECK(
      cellar.tell("new jar B-08 in cellar cover tight lid vessel plastic").answer ==
      "Ease the tight lid off slowly, a cloth over it, face and eyes away, and tie on paper or "
      "cloth: a fresh mix makes gas while it settles, and a tight lid can burst. "
      "B-08 is registered in cellar from Tue 10 Mar 13:00 on: plastic; cover tight lid (entry 1). "
      "It settles "
      "until 2026-03-24: bubbling, sinking and a wet look are normal till then. Without rice, raw "
      "(or cooked) and sugar its water activity and time to wake cannot be known; without mouth "
      "the "
      "water it takes from the air cannot be known; without empty its contents from a weight with "
      "the vessel cannot be known. Plastic will do, but for long storage common practice wants "
      "glass "
      "or glazed ceramic.");
}

TEST_CASE("an old jar is shown with its year and no longer settles") {
  Cellar cellar;
  const Told told = cellar.tell("new jar B-01 in cellar closed 2024-01-15");
  CHECK(contains(told.answer, "from 2024-01-15 00:00 on, closed 2024-01-15"));
  CHECK_FALSE(contains(told.answer, "settles"));
}

TEST_CASE("settling ends fourteen days after closing") {
  Cellar cellar;  // now is 2026-03-10T12:00Z
  CHECK(contains(cellar.tell("new jar a1 in cellar closed 2026-02-24T13:00:01").answer, "settles"));
  CHECK_FALSE(
      contains(cellar.tell("new jar a2 in cellar closed 2026-02-24T13:00").answer, "settles"));
}

TEST_CASE("an id is taken once and for all, without regard to case") {
  Cellar cellar;
  (void)cellar.tell(kB07);
  CHECK(
      cellar.refused("new jar b-07 in cellar") ==
      "jar B-07 exists since 2026-03-02, and an id is never used again; give this jar another; for "
      "example: ask B-07");
  const Told told = cellar.tell("new jar B-7 in cellar");
  CHECK(contains(told.answer, "It is another jar than B-07: write both in full"));
  CHECK(cellar.ledger.find("b7") == nullptr);
  CHECK(cellar.ledger.find("b-7")->made.jar == "B-7");
  CHECK(cellar.refused("move b7 to cellar") ==
        "\"b7\" may be B-07 and B-7; write which one in full; for example: move B-07 to cellar");
}

TEST_CASE("a place must exist; the nearest is named") {
  Cellar cellar;
  CHECK(cellar.refused("new jar B-07 in celar") ==
        "there is no place \"celar\"; the nearest is cellar; for example: new jar B-07 in cellar");
  CHECK(
      cellar.refused("new jar B-07 in shelf-2") ==
      "there is no place \"shelf-2\"; the nearest is cellar/shelf-2; for example: new jar B-07 in "
      "cellar/shelf-2");
  CHECK(cellar.refused("new jar B-07 in \"north lofd\"") ==
        "there is no place \"north lofd\"; the nearest is North Loft; for example: new jar B-07 in "
        "\"North Loft\"");
  CHECK(cellar.refused("new jar B-07 in kitchen") ==
        "there is no place \"kitchen\"; the places are cellar, cellar/shelf-1, cellar/shelf-2, "
        "outside "
        "and North Loft; for example: new jar B-07 in cellar");
  (void)cellar.tell("new jar B-07 in Cellar/Shelf-2/");
  CHECK(cellar.ledger.find("B-07")->stays.front().place == "cellar/shelf-2");
  cellar.world.known_places.clear();
  CHECK(cellar.refused("move B-07 to cellar") ==
        "there is no place \"cellar\"; the configuration names none; for example: move B-07 to "
        "cellar");
}

TEST_CASE("weights that contradict are asked about and record nothing") {
  Cellar cellar;
  CHECK(contains(cellar.refused("new jar B-07 in cellar rice 0 g"), "`rice` is 0 g"));
  CHECK(contains(cellar.refused("new jar B-07 in \"North Loft\" sugar 1250 kg"), "is it 1250 g?"));
}

TEST_CASE("dates in the future, before 2000 or in the wrong order are refused") {
  Cellar cellar;  // now is 13:00 in Vienna
  CHECK(cellar.refused("new jar a in cellar closed 2026-03-11") ==
        "`closed` 2026-03-11 00:00 is in the future; now it is 2026-03-10 13:00; for example: move "
        "B-07 to cellar/shelf-1 at 2026-03-10T12:00:00Z");
  CHECK(contains(cellar.refused("new jar a in cellar at 2026-03-10T13:05:01"), "in the future"));
  CHECK(contains(cellar.refused("new jar a in cellar closed 1999-12-31"), "before 2000"));
  CHECK(contains(cellar.refused("new jar a in cellar at 2026-03-01 closed 2026-03-02"),
                 "`at` 2026-03-01 00:00 is before it was closed, 2026-03-02 00:00"));
  (void)cellar.tell("new jar a in cellar closed 2026-03-10");
  (void)cellar.tell("new jar c in cellar closed 2000-01-02");
  // A clock a little ahead of ours means now.
  (void)cellar.tell("new jar b in cellar at 2026-03-10T13:05");
  CHECK(cellar.ledger.find("b")->stays.front().from == cellar.now);
}

TEST_CASE("a move ends a stay and tells the engine") {
  Cellar cellar;
  (void)cellar.tell(kB07);
  const Told told = cellar.tell("move b7 to cellar/shelf-1");
  CHECK(
      told.answer ==
      "B-07 stands in cellar/shelf-1 from Tue 10 Mar 13:00 on, before that in cellar/shelf-2; from "
      "then the air there is its air (entry 2)");
  REQUIRE(told.entries.size() == 1);
  CHECK(told.entries.front().number == 2);
  CHECK(told.entries.front().act == R"({"act":"move","jar":"B-07","place":"cellar/shelf-1"})");
  REQUIRE(told.inputs.size() == 1);
  CHECK(std::get<rules::JarPlacedInput>(told.inputs.front()).at == cellar.now);
  CHECK(cellar.ledger.find("B-07")->stays.size() == 2);
}

TEST_CASE("a late move between recorded ones changes the past and not the present") {
  Cellar cellar;
  (void)cellar.tell(kB07);
  (void)cellar.tell("move B-07 to cellar/shelf-1 at 2026-03-08T10:00");
  const Told told = cellar.tell("move B-07 to \"North Loft\" at 2026-03-05T10:00");
  CHECK(told.answer ==
        "B-07 stood in North Loft from Thu 5 Mar 10:00 until Sun 8 Mar 10:00, before that in "
        "cellar/shelf-2 (noted late); it stands in cellar/shelf-1 now as before (entry 3)");
  // The air it stood in was another's: what follows is worked out anew.
  REQUIRE(told.inputs.size() == 1);
  CHECK(std::get<rules::JarOutdatedInput>(told.inputs.front()).jar == "B-07");
  CHECK(told.entries.front().happened_at == utc("2026-03-05T09:00:00Z"));
  CHECK(cellar.ledger.find("B-07")->stays ==
        std::vector<Stay>{
            {"cellar/shelf-2", utc("2026-03-01T23:00:00Z"), utc("2026-03-05T09:00:00Z")},
            {"North Loft", utc("2026-03-05T09:00:00Z"), utc("2026-03-08T09:00:00Z")},
            {"cellar/shelf-1", utc("2026-03-08T09:00:00Z"), std::nullopt}});
}

TEST_CASE("a late move after the last recorded one tells the engine its own time") {
  Cellar cellar;
  (void)cellar.tell(kB07);
  const Told told = cellar.tell("move B-07 to cellar/shelf-1 at 2026-03-08T10:00");
  CHECK(std::get<rules::JarPlacedInput>(told.inputs.at(0)).at == utc("2026-03-08T09:00:00Z"));
}

TEST_CASE("a second move at the same moment corrects the first") {
  Cellar cellar;
  (void)cellar.tell(kB07);
  (void)cellar.tell("move B-07 to cellar/shelf-1 at 2026-03-08T10:00");
  CHECK(cellar.tell("move B-07 to outside at 2026-03-08T10:00").answer ==
        "B-07 stands in outside from Sun 8 Mar 10:00 on, not, as noted before, in cellar/shelf-1; "
        "from "
        "then the air there is its air (entry 3)");
}

TEST_CASE("moves that cannot be are refused") {
  Cellar cellar;
  CHECK(cellar.refused("move B-07 to cellar") ==
        "there is no jar \"B-07\"; none is registered yet; for example: new jar B-07 in "
        "cellar/shelf-2");
  (void)cellar.tell(kB07);
  CHECK(cellar.refused("move B-07 to cellar/shelf-2") ==
        "B-07 stands in cellar/shelf-2 already, since 2026-03-02 00:00; for example: ask B-07");
  CHECK(
      cellar.refused("move B-07 to cellar at 2026-03-01T23:59") ==
      "B-07 is in the ledger only from 2026-03-02 00:00 on, so it cannot have moved at 2026-03-01 "
      "23:59; for example: ask B-07");
  CHECK(cellar.refused("move B-70 to cellar") ==
        "there is no jar \"B-70\"; the nearest is B-07; for example: move B-07 to cellar");
  CHECK(cellar.refused("move zzzzzzz to cellar") ==
        "there is no jar \"zzzzzzz\"; `ask jars` lists them; for example: ask jars");
  CHECK(contains(cellar.refused("move B-07 to cellar at 2026-03-11"), "in the future"));
  CHECK(cellar.journal.size() == 1);
}

TEST_CASE("an alert is deferred until a time, with the reason; one that is not open is not") {
  Cellar cellar;
  CHECK(cellar.refused("defer alert 12 for 6 h because \"moving tonight\"") ==
        "alert 12 is not open; no alert is; for example: ask alerts");
  cellar.world.alerts = {alert(3, "cellar is warm")};
  const Told told = cellar.tell("defer alert 3 for 6 h because \"moving <tonight>\" by \"Mara\"");
  CHECK(told.answer ==
        "alert 3 (cellar is warm) is deferred by Mara until Tue 10 Mar 19:00: moving "
        "\xE2\x80\xB9tonight\xE2\x80\xBA; it is said again then if it still stands");
  CHECK(told.entries.empty());
  const auto& input = std::get<rules::DeferInput>(told.inputs.at(0));
  CHECK(input.alert == 3);
  CHECK(input.until == cellar.now + std::chrono::hours(6));
  CHECK(input.by == "Mara");
  CHECK(std::chrono::days(7) == rules::kLongestDeferral);
}

TEST_CASE("seen marks one alert or all unseen ones, by name") {
  Cellar cellar;
  CHECK(cellar.tell("seen").answer == "no alert is open");
  CHECK(cellar.refused("seen alert 12") ==
        "alert 12 is not open; no alert is; for example: ask alerts");

  cellar.world.alerts = {alert(3, "cellar is warm"), alert(7, "B-07 <is> damp"),
                         alert(9, "s4 is silent", true)};
  const Told one = cellar.tell("seen alert 7 by \"Mara\"");
  CHECK(one.answer ==
        "alert 7 (B-07 \xE2\x80\xB9is\xE2\x80\xBA damp) is seen by Mara; it is not "
        "repeated and ends when its cause does");
  CHECK(one.entries.empty());
  const auto& input = std::get<rules::SeenInput>(one.inputs.at(0));
  CHECK(input.alert == 7);
  CHECK(input.by == "Mara");

  const Told all = cellar.tell("seen");
  CHECK(all.answer ==
        "seen: alerts 3 (cellar is warm) and 7 (B-07 \xE2\x80\xB9is\xE2\x80\xBA damp); "
        "they are not repeated");
  CHECK_FALSE(std::get<rules::SeenInput>(all.inputs.at(0)).alert);

  const Told again = cellar.tell("seen alert 9");
  CHECK(again.answer == "alert 9 (s4 is silent) was seen already by Mara");
  CHECK(again.inputs.empty());
  CHECK(cellar.refused("seen alert 12") ==
        "alert 12 is not open; open are 3 (cellar is warm), 7 (B-07 \xE2\x80\xB9is\xE2\x80\xBA "
        "damp) and "
        "9 (s4 is silent); for example: seen alert 3");

  cellar.world.alerts = {alert(9, "s4 is silent", true)};
  CHECK(cellar.tell("seen").answer == "every open alert was seen already");
  CHECK(contains(cellar.tell("seen at 2026-03-09").answer, "`at` does not reach back here"));
}

TEST_CASE("ask answers in one line of jars, places and alerts") {
  Cellar cellar;
  CHECK(cellar.tell("ask jars").answer == "no jar is registered");
  CHECK(cellar.tell("ask alerts").answer == "no alert is open");
  (void)cellar.tell(kB07);
  (void)cellar.tell("new jar B-08 in cellar/shelf-2");
  (void)cellar.tell("new jar B-01 in cellar");
  CHECK(cellar.tell("ask jars").answer == "3 jars: cellar: B-01; cellar/shelf-2: B-07, B-08");
  CHECK(
      cellar.tell("ask places").answer ==
      "5 places: cellar (1 jar), cellar/shelf-1, cellar/shelf-2 (2 jars), outside and North Loft");
  CHECK(cellar.tell("ask b7").answer == "B-07: dormant in cellar/shelf-2");
  CHECK(cellar.tell("ask Cellar/shelf-2").answer == "cellar/shelf-2: 14.2 degrees");
  CHECK(contains(cellar.tell("ask b7 at 2026-03-09").answer, "(as it is now; `at`"));

  cellar.world.alerts = {alert(3, "cellar is warm"), alert(9, "s4 is silent", true)};
  cellar.world.alerts[1].state = rules::AlertState::eased;
  CHECK(cellar.tell("ask alerts").answer ==
        "2 alerts are open: 3, today, unseen: cellar is warm; 9, today, seen, eased: s4 is silent");
  CHECK(cellar.tell("ask alerts").entries.empty());
  CHECK(cellar.tell("ask alerts").inputs.empty());
}

TEST_CASE("ask about what is not known names the nearest") {
  Cellar cellar;
  (void)cellar.tell(kB07);
  CHECK(cellar.refused("ask B-70") ==
        "there is no jar \"B-70\"; the nearest is B-07; for example: ask B-07");
  CHECK(cellar.refused("ask shelf-2") ==
        "there is no place \"shelf-2\"; the nearest is cellar/shelf-2; for example: ask "
        "cellar/shelf-2");
  CHECK(contains(cellar.refused("ask attic/beam"), "there is no place \"attic/beam\""));
  CHECK(contains(cellar.refused("ask zzzzzzzz"), "`ask jars` lists them"));
  (void)cellar.tell("new jar B-7 in cellar");
  CHECK(contains(cellar.refused("ask b7"), "may be B-07 and B-7"));
}

TEST_CASE("a name that is a jar and a place answers for both") {
  Cellar cellar;
  (void)cellar.tell("new jar outside in cellar");
  CHECK(cellar.tell("ask outside").answer == "outside: dormant in cellar; outside: 14.2 degrees");
}

TEST_CASE("long lists are cut, with the rest counted") {
  Cellar cellar;
  for (int i = 100; i < 170; ++i) {
    (void)cellar.tell("new jar J" + std::to_string(i) + " in " + (i < 130 ? "cellar" : "outside"));
  }
  const std::string jars = cellar.tell("ask jars").answer;
  CHECK(contains(jars, "70 jars: cellar: J100"));
  CHECK(contains(jars, "J159; and 10 more"));
  CHECK_FALSE(contains(jars, "J160"));
  for (std::uint64_t n = 1; n <= 12; ++n) cellar.world.alerts.push_back(alert(n, "warm"));
  CHECK(contains(cellar.tell("ask alerts").answer, "10, today, unseen: warm; and 2 more"));
  CHECK(contains(cellar.tell("seen").answer, "10 (warm) and 2 more"));
}

TEST_CASE("jars are found below a place at a moment") {
  Cellar cellar;
  (void)cellar.tell(kB07);
  (void)cellar.tell("new jar B-08 in cellar");
  (void)cellar.tell("move B-07 to outside at 2026-03-08T10:00");
  using Ids = std::vector<std::string>;
  CHECK(cellar.ledger.jars_at("cellar", cellar.now) == Ids{"B-08"});
  CHECK(cellar.ledger.jars_at("outside", cellar.now) == Ids{"B-07"});
  CHECK(cellar.ledger.jars_at("cellar", utc("2026-03-07T00:00:00Z")) == Ids{"B-07"});
  CHECK(cellar.ledger.jars_at("cellar/shelf-2", utc("2026-03-07T00:00:00Z")) == Ids{"B-07"});
  CHECK(cellar.ledger.jars_at("cel", cellar.now).empty());
}

TEST_CASE("answers do not depend on the wall clock") {
  Cellar one, other;
  other.wall = utc("2031-01-01T00:00:00Z");
  for (const char* text : {kB07, "move b7 to cellar", "ask jars", "seen"}) {
    CHECK(one.tell(text).answer == other.tell(text).answer);
  }
}

TEST_CASE("who tells is kept harmlessly, also a name that no sentence held") {
  Cellar cellar;
  Sentence sentence = test::parsed("new jar B-07 in cellar", cellar.zone);
  sentence.by = "phone\n\xff<b>" + std::string(100, 'x');
  const auto told =
      cellar.ledger.tell(sentence, "", cellar.now, cellar.wall, cellar.zone, cellar.world);
  REQUIRE(told);
  CHECK(told->entries.at(0).by ==
        "phone \xEF\xBF\xBD\xE2\x80\xB9"
        "b\xE2\x80\xBA" +
            std::string(54, 'x') + "...");
}

TEST_CASE("an engine without a snapshot is told where every jar stands") {
  Cellar cellar;
  (void)cellar.tell(kB07);
  (void)cellar.tell("move B-07 to cellar/shelf-1 at 2026-03-08T10:00");
  (void)cellar.tell("new jar A-01 in outside");
  (void)cellar.tell("B-07 all well at 2026-03-09T10:00");
  (void)cellar.tell("open B-07 at 2026-03-07T10:00");
  const auto inputs = cellar.ledger.placements();
  REQUIRE(inputs.size() == 6);
  CHECK(std::get<rules::JarPlacedInput>(inputs[0]).jar == "A-01");
  CHECK(std::get<rules::JarClosedInput>(inputs[1]).jar == "A-01");
  const auto& placed = std::get<rules::JarPlacedInput>(inputs[2]);
  CHECK(std::get<rules::JarClosedInput>(inputs[3]).recipe.sugar == Grams(1250));
  CHECK(std::get<rules::JarActInput>(inputs[4]).at == utc("2026-03-07T09:00:00Z"));
  CHECK(std::get<rules::JarObservedInput>(inputs[5]).at == utc("2026-03-09T09:00:00Z"));
  CHECK(placed.place == "cellar/shelf-1");
  CHECK(placed.at == utc("2026-03-08T09:00:00Z"));
}

}  // namespace torpor::daemon
