// Collections, jars made from them and from each other, and jars that are split.
#include <doctest/doctest.h>

#include <algorithm>

#include "daemon/ledger/deeds.h"
#include "tests/daemon/ledger/told_world.h"

namespace torpor::daemon {

using test::Cellar;
using test::contains;
using test::utc;

namespace {

constexpr const char* kC01 =
    "new collection C-01 where \"beech hollow, north slope\" trees \"beech, fern below\" weather "
    "\"two dry days, 12 °C\" lay 5 d rice 1200 g looked \"white fluff, sweet\" gathered 2026-02-20";
constexpr const char* kParent =
    "new jar B-07 in cellar/shelf-2 stage IMO-2 rice 1200 g raw 560 g sugar 1250 g topping 50 g "
    "vessel glass 3.8 l cover paper closed 2026-03-02 from C-01";

Cellar with_line() {
  Cellar cellar;
  (void)cellar.tell(kC01);
  (void)cellar.tell(kParent);
  return cellar;
}

template <class Input>
std::size_t count_of(const Told& told) {
  return static_cast<std::size_t>(std::count_if(
      told.inputs.begin(), told.inputs.end(),
      [](const rules::Input& input) { return std::holds_alternative<Input>(input); }));
}

void check_replays(const Cellar& cellar) {
  Ledger again;
  for (const JournalEntry& entry : cellar.journal) REQUIRE(again.replay(entry));
  CHECK(again.jars() == cellar.ledger.jars());
  CHECK(again.collections() == cellar.ledger.collections());
}

}  // namespace

TEST_CASE("a collection is told with all that was noted of it, and asked for") {
  Cellar cellar;
  CHECK(cellar.tell("ask collections").answer == "no collection is told yet");
  const Told told = cellar.tell(kC01);
  CHECK(told.answer ==
        "C-01: gathered 2026-02-20 at \"beech hollow, north slope\"; trees beech, fern below; "
        "weather two dry days, 12 °C; lay out 5 d; rice 1200 g; looked white fluff, sweet (entry "
        "1). A jar made from it is told with `from C-01`");
  CHECK(told.inputs.empty());
  CHECK(told.entries.front().happened_at == utc("2026-02-19T23:00:00Z"));
  (void)cellar.tell("new collection C-02 where meadow");
  CHECK(cellar.tell("ask collections").answer ==
        "2 collections: C-01 (beech hollow, north slope, 2026-02-20, 0 jars) and C-02 (meadow, "
        "2026-03-10, 0 jars)");
  (void)cellar.tell(kParent);
  CHECK(contains(cellar.tell("ask c1").answer, "looked white fluff, sweet; made from it: B-07"));
  CHECK(contains(cellar.tell("ask B-07").answer, "; from C-01"));
  check_replays(cellar);
}

TEST_CASE("an id names one jar or one collection, never both") {
  Cellar cellar = with_line();
  CHECK(
      contains(cellar.refused("new jar c-01 in cellar"), "C-01 is a collection since 2026-02-20"));
  CHECK(contains(cellar.refused("new collection b-07 where meadow"), "jar B-07 exists since"));
  CHECK(contains(cellar.refused("new collection C-01 where meadow"), "C-01 is a collection"));
  CHECK(contains(cellar.refused("split 100 g from B-07 into C-01 in cellar"),
                 "C-01 is a collection"));
}

TEST_CASE("a jar comes from jars and collections that exist, the nearest is named") {
  Cellar cellar = with_line();
  (void)cellar.tell("new jar B-08 in cellar");
  const Told told = cellar.tell("new jar B-09 in cellar stage IMO-3 from b7, c1 and B-08");
  CHECK(contains(told.answer,
                 "B-09 is registered in cellar from Tue 10 Mar 13:00 on: IMO-3; from "
                 "B-07, C-01 and B-08"));
  CHECK(cellar.ledger.find("B-09")->made.from == std::vector<std::string>{"B-07", "C-01", "B-08"});
  CHECK(cellar.refused("new jar B-10 in cellar from B-70") ==
        "there is no jar or collection \"B-70\"; the nearest is B-07; for example: new jar B-10 in "
        "cellar from B-07");
  CHECK(contains(cellar.refused("new jar B-10 in cellar from B-10"),
                 "there is no jar or collection"));
  // A jar named twice is one parent.
  (void)cellar.tell("new jar B-11 in cellar from B-07 and b-07");
  CHECK(cellar.ledger.find("B-11")->made.from.size() == 1);
  CHECK(cellar.ledger.jars_from("B-07") == std::vector<std::string>{"B-09", "B-11"});
  check_replays(cellar);
}

TEST_CASE("a jar is not older than what it is made from") {
  Cellar cellar = with_line();
  CHECK(
      contains(cellar.refused("new jar B-09 in cellar from C-01 closed 2026-02-19"),
               "B-09 is closed 2026-02-19, before C-01 was gathered, 2026-02-20; which is right?"));
  (void)cellar.tell("new jar B-09 in cellar from C-01 closed 2026-02-20");
  CHECK(contains(cellar.refused("new jar B-10 in cellar from B-07 closed 2026-03-01"),
                 "before B-07 was closed, 2026-03-02"));
}

TEST_CASE("what others are made from is not withdrawn before them") {
  Cellar cellar = with_line();
  (void)cellar.tell("new jar B-09 in cellar from B-07");
  CHECK(
      contains(cellar.refused("withdraw entry 1 because wrong"),
               "B-07 was made from C-01: withdraw B-07 (entry 2) first and tell it anew, or leave "
               "C-01 as it is"));
  CHECK(contains(cellar.refused("withdraw entry 2 because wrong"), "B-09 was made from B-07"));
  (void)cellar.tell("withdraw entry 3 because \"never made\"");
  (void)cellar.tell("withdraw entry 2 because \"wrong jar\"");
  const Told told = cellar.tell("withdraw entry 1 because \"nothing grew\"");
  CHECK(contains(told.answer, "There is no collection C-01 now; no jar was made from it"));
  CHECK(cellar.ledger.collections().empty());
  (void)cellar.tell("new collection C-01 where meadow");  // told anew
  check_replays(cellar);
}

TEST_CASE("a jar that is split off holds its share, and the other the rest") {
  Cellar cellar = with_line();  // 2500 g
  const Told told = cellar.tell(
      "split 600 g from B-07 into B-08 in cellar/shelf-1 vessel glass 2 l mouth 8 cm cover kraft");
  CHECK(
      told.answer ==
      "B-08 holds 600 g of B-07 and stands in cellar/shelf-1 from Tue 10 Mar 13:00 on: IMO-2; "
      "rice 288 g from 134 g raw; sugar 312 g, 1.08 times the rice; glass of 2 l, mouth 8 cm; "
      "cover kraft; its age, water and work go on from B-07's (entry 3). B-07: 600 g taken, about "
      "1.9 kg left. To keep the rest asleep: only a dry clean spoon, level the top, wipe the rim "
      "dry, spread about 40 g of sugar on top (for a usual mouth of 9 cm), tie on a fresh dry "
      "cover (paper) and tell both. About 62 % of the vessel is air now; a smaller one keeps it "
      "drier.");
  const Jar& child = *cellar.ledger.find("B-08");
  CHECK(child.split == SplitOff{"B-07", Grams(600), cellar.now});
  CHECK(child.made.rice->value() == doctest::Approx(288.0));
  CHECK(child.made.raw->value() == doctest::Approx(134.4));
  CHECK(child.made.sugar->value() == doctest::Approx(312.0));
  CHECK_FALSE(child.made.topping);
  CHECK(child.made.stage == "IMO-2");
  REQUIRE(cellar.ledger.taken_from("B-07").size() == 1);
  CHECK(cellar.ledger.taken_from("B-07").front().into == "B-08");
  // The engine hears of the new jar while the other still holds all of it.
  REQUIRE(told.inputs.size() == 3);
  const auto& closed = std::get<rules::JarClosedInput>(told.inputs[1]);
  REQUIRE(closed.split);
  CHECK(closed.split->from == "B-07");
  CHECK(std::get<rules::JarActInput>(told.inputs[2]).jar == "B-07");
  check_replays(cellar);
}

TEST_CASE("a share counts what was taken and added before, and not what came after") {
  Cellar cellar = with_line();  // 1200 rice, 1300 sugar
  (void)cellar.tell("take 1250 g from B-07 at 2026-03-04T12:00");
  (void)cellar.tell("add sugar 250 g to B-07 at 2026-03-05T12:00");  // 600 rice, 900 sugar
  (void)cellar.tell("split 750 g from B-07 into B-08 in cellar at 2026-03-06T12:00");
  (void)cellar.tell("add sugar 500 g to B-07");
  CHECK(cellar.ledger.find("B-08")->made.rice->value() == doctest::Approx(300.0));
  CHECK(cellar.ledger.find("B-08")->made.sugar->value() == doctest::Approx(450.0));

  SUBCASE("a withdrawn entry gives the share anew, and the engine hears of both") {
    const Told told = cellar.tell("withdraw entry 4 because \"it was B-06\"");
    CHECK(cellar.ledger.find("B-08")->made.rice->value() == doctest::Approx(360.0));
    CHECK(cellar.ledger.find("B-08")->made.sugar->value() == doctest::Approx(390.0));
    CHECK(count_of<rules::JarOutdatedInput>(told) == 2);
    CHECK(count_of<rules::JarClosedInput>(told) == 1);
  }
  SUBCASE("a late entry, too, down the line") {
    (void)cellar.tell("split 100 g from B-08 into B-09 in cellar at 2026-03-07T12:00");
    const Told told = cellar.tell("add sugar 120 g to B-07 at 2026-03-05T13:00");
    CHECK(count_of<rules::JarOutdatedInput>(told) == 2);  // B-08 and B-09
    CHECK(cellar.ledger.find("B-09")->made.sugar->value() ==
          doctest::Approx(100.0 * (650.0 + 250.0 + 120.0) / 1620.0));
    // What is told of a time after the split reaches neither.
    CHECK(count_of<rules::JarOutdatedInput>(cellar.tell("add sugar 9 g to B-07")) == 0);
  }
  check_replays(cellar);
}

TEST_CASE("a split that cannot be is refused and says what to do") {
  Cellar cellar = with_line();
  CHECK(contains(cellar.refused("split 2700 g from B-07 into B-08 in cellar"),
                 "B-07 holds about 2500 g by what was told, less than the 2700 g taken"));
  CHECK(contains(cellar.refused("split 600 g from B-70 into B-08 in cellar"),
                 "there is no jar \"B-70\"; the nearest is B-07"));
  CHECK(contains(cellar.refused("split 600 g from B-07 into B-07 in cellar"), "jar B-07 exists"));
  CHECK(contains(cellar.refused("split 600 g from B-07 into B-08 in celar"),
                 "there is no place \"celar\"; the nearest is cellar"));
  CHECK(contains(cellar.refused("split 600 g from B-07 into B-08 in cellar vessel glass 0.2 l"),
                 "600 g of rice and sugar do not go into 200 ml"));
  CHECK(contains(cellar.refused("split 600 g from B-07 into B-08 in cellar at 2026-03-01T12:00"),
                 "B-07 is in the ledger only from"));
  CHECK(contains(cellar.refused("split 600 g from C-01 into B-08 in cellar"), "there is no jar"));
  (void)cellar.tell("retire B-07 because \"used up\"");
  CHECK(contains(cellar.refused("split 600 g from B-07 into B-08 in cellar"), "B-07 was retired"));
}

TEST_CASE("a split withdrawn gives the weight back and takes the new jar away") {
  Cellar cellar = with_line();
  (void)cellar.tell("split 600 g from B-07 into B-08 in cellar");
  (void)cellar.tell("new jar B-09 in cellar from B-08");
  CHECK(contains(cellar.refused("withdraw entry 3 because wrong"), "B-09 was made from B-08"));
  (void)cellar.tell("withdraw entry 4 because wrong");
  const Told told = cellar.tell("withdraw entry 3 because \"it stayed whole\"");
  CHECK(contains(told.answer, "B-07: it holds about 2500 g now (before: about 1900 g)"));
  CHECK(contains(told.answer, "B-08 is not in the ledger now"));
  CHECK(cellar.ledger.find("B-08") == nullptr);
  CHECK(cellar.ledger.taken_from("B-07").empty());
  CHECK(cellar.ledger.withdrawn_by(3) == 6);
  CHECK(cellar.ledger.entries_about("B-08") == std::set<std::uint64_t>{3, 6});
  check_replays(cellar);
}

TEST_CASE("what a jar was made from that works in sugar hands that on, also when it is told late") {
  struct Row {
    const char* seen;  // of B-07
    bool worked;
  };
  const Row rows[] = {{"B-07 bubbling at 2026-03-17T12:00", true},
                      {"B-07 pressure at 2026-03-17T12:00", true},
                      {"B-07 bubbling at 2026-03-15T12:00", false},  // it settles
                      {"B-07 sweet smell at 2026-03-17T12:00", false},
                      {"B-07 bubbling at 2026-03-22T12:00", false}};  // after B-09 was made
  for (const Row& row : rows) {
    CAPTURE(row.seen);
    Cellar before, late;
    before.now = late.now = utc("2026-03-25T12:00:00Z");
    for (Cellar* cellar : {&before, &late}) {
      (void)cellar->tell(kC01);
      (void)cellar->tell(
          "new jar B-07 in cellar rice 1200 g raw 560 g sugar 1500 g closed 2026-03-02 from C-01");
    }
    const char* kChild =
        "new jar B-09 in cellar rice 600 g raw 280 g sugar 600 g closed 2026-03-20 from B-07";
    (void)before.tell(row.seen);
    const Told made = before.tell(kChild);
    CHECK(before.ledger.find("B-09")->recipe().parent_worked_in_sugar == row.worked);
    const auto closed = std::find_if(made.inputs.begin(), made.inputs.end(), [](const auto& each) {
      return std::holds_alternative<rules::JarClosedInput>(each);
    });
    REQUIRE(closed != made.inputs.end());
    CHECK(std::get<rules::JarClosedInput>(*closed).recipe.parent_worked_in_sugar == row.worked);

    (void)late.tell(kChild);
    (void)late.tell("new jar B-10 in cellar closed 2026-03-24 from B-09");
    const Told seen = late.tell(row.seen);
    // B-09, and what was made from that; the engine begins both anew.
    CHECK(count_of<rules::JarClosedInput>(seen) == (row.worked ? 2 : 0));
    CHECK(late.ledger.find("B-10")->recipe().parent_worked_in_sugar == row.worked);
    check_replays(late);
    const Told withdrawn = late.tell("withdraw entry 5 because \"it was B-08\"");
    CHECK(count_of<rules::JarClosedInput>(withdrawn) == (row.worked ? 2 : 0));
    CHECK_FALSE(late.ledger.find("B-10")->recipe().parent_worked_in_sugar);
    check_replays(late);
  }
}

TEST_CASE("gas in a jar whose sugar is all dissolved says nothing of work in sugar") {
  Cellar cellar;
  cellar.now = utc("2026-03-25T12:00:00Z");
  (void)cellar.tell("new jar B-07 in cellar rice 1200 g raw 560 g sugar 300 g closed 2026-03-02");
  (void)cellar.tell("B-07 bubbling at 2026-03-17T12:00");
  CHECK_FALSE(worked_in_sugar(*cellar.ledger.find("B-07"), cellar.now));
  (void)cellar.tell("add sugar 1200 g to B-07 at 2026-03-18T12:00");
  CHECK_FALSE(worked_in_sugar(*cellar.ledger.find("B-07"), cellar.now));
  (void)cellar.tell("B-07 bubbling at 2026-03-19T12:00");
  CHECK(worked_in_sugar(*cellar.ledger.find("B-07"), cellar.now));
}

TEST_CASE("markup and control characters in a line are shown harmlessly") {
  Cellar cellar;
  const std::string answer =
      cellar.tell("new collection C-01 where \"<script>alert(1)</script>\" looked \"a <b> c\"")
          .answer;
  CHECK_FALSE(contains(answer, "<"));
  CHECK_FALSE(contains(cellar.tell("ask collections").answer, "<"));
  CHECK_FALSE(contains(cellar.tell("ask C-01").answer, "<"));
  CHECK_FALSE(parse_sentence("new collection C-02 where \"a\x1B[31mb\"", cellar.zone));
}

}  // namespace torpor::daemon
