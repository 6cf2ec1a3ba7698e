// What is done to jars and seen of them: recorded, told to the engine and answered. Amounts of the
// topping and the words of caution are common practice, no source.
#include "daemon/ledger/deeds.h"

#include <doctest/doctest.h>

#include "tests/daemon/ledger/told_world.h"

namespace torpor::daemon {

using test::Cellar;
using test::contains;
using test::utc;
namespace culture = rules::culture;

namespace {

constexpr const char* kShelfJar =
    "new jar B-07 in cellar/shelf-2 stage IMO-2 rice 1200 g raw 560 g sugar 1250 g topping 60 g "
    "vessel glass 3.8 l empty 1450 g mouth 11 cm cover paper closed 2026-01-02";

Cellar with_jar() {
  Cellar cellar;
  (void)cellar.tell(kShelfJar);
  return cellar;
}

}  // namespace

TEST_CASE("sugar added is journaled, told to the engine and answered without a model's claim") {
  Cellar cellar = with_jar();
  const Told told = cellar.tell("add sugar 120 g to b7");
  CHECK(
      told.answer ==
      "B-07: 120 g sugar spread on top, Tue 10 Mar 13:00 (entry 2). That is sugar enough: rice as "
      "wet as this (61 % water by its weights) takes about 1400 g, more than the equal weight of "
      "common practice.");
  REQUIRE(told.entries.size() == 1);
  CHECK(told.entries[0].act ==
        R"({"act":"add_sugar","jar":"B-07","stirred":false,"sugar_g":120.0})");
  REQUIRE(told.inputs.size() == 1);
  const auto& input = std::get<rules::JarActInput>(told.inputs[0]);
  CHECK(input.jar == "B-07");
  CHECK(input.at == cellar.now);
  CHECK(std::get<culture::AddSugar>(input.act).sugar == Grams(120));
  const Jar& jar = *cellar.ledger.find("B-07");
  REQUIRE(jar.events.size() == 1);
  CHECK(jar.events[0].entry == 2);
  CHECK(contents_at(jar, cellar.now) == Grams(2630));
}

TEST_CASE("how a jar stands follows the answer, in the words of its standing alone") {
  Cellar cellar = with_jar();
  test::model_jar(cellar, "B-07");
  const Told told = cellar.tell("add sugar 120 g to B-07 stirred in");
  CHECK(told.answer.find("B-07: 120 g sugar stirred in, Tue 10 Mar 13:00 (entry 2)") !=
        std::string::npos);
  // The model itself is not changed, and what it says of sleep is the standing's to say.
  CHECK_FALSE(contains(told.answer, "dormant"));
  CHECK_FALSE(contains(told.answer, "settling"));
  CHECK(told.jars == std::vector<std::string>{"B-07"});
  CHECK(cellar.world.models.at("B-07").verdict().state != culture::State::settling);
  CHECK(standings_text(told.jars, cellar.world) == "");  // the engine knows nothing of it

  test::stand_jar(cellar, "B-07", culture::State::dormant, rules::Use::yes);
  CHECK(standings_text(told.jars, cellar.world) ==
        " B-07 (cellar/shelf-2): dormant, use: yes. Nothing to do. It sleeps.");
  rules::Standing& standing = cellar.world.standings.at("B-07");
  standing.urgency = rules::Urgency::today;
  standing.deed = rules::Advice{rules::Remedy::look, "Look at B-07.", {}};
  CHECK(standings_text(told.jars, cellar.world) == " " + rules::standing_line(standing));
  // Nothing is said of what has left the shelf.
  CHECK(cellar.tell("retire B-07 because \"used up\"").jars.empty());
}

TEST_CASE("an answer and what follows it are whole sentences") {
  CHECK(followed_by("opened (entry 2)", " B-07: dormant.") == "opened (entry 2). B-07: dormant.");
  CHECK(followed_by("Close it soon.", " B-07: dormant.") == "Close it soon. B-07: dormant.");
  CHECK(followed_by("opened (entry 2)", "") == "opened (entry 2)");
}

TEST_CASE("of two jars both lines follow, of more whether each may be used") {
  Cellar cellar = with_jar();
  for (const char* id : {"B-08", "B-09"}) {
    (void)cellar.tell("new jar " + std::string(id) + " in cellar/shelf-2");
  }
  test::stand_jar(cellar, "B-07", culture::State::dormant, rules::Use::yes);
  test::stand_jar(cellar, "B-08", culture::State::due, rules::Use::look_first);
  CHECK(standings_text(cellar.tell("B-07 B-08 all well").jars, cellar.world) ==
        " B-07 (cellar/shelf-2): dormant, use: yes. Nothing to do. It sleeps."
        " B-08 (cellar/shelf-2): due, use: look first. Nothing to do. It sleeps.");
  // B-09 is not known to the engine.
  CHECK(standings_text(cellar.tell("cellar all well").jars, cellar.world) ==
        " Now: B-07 dormant, use: yes; B-08 due, use: look first.");
}

TEST_CASE("what is to be done is asked for in one line") {
  Cellar cellar = with_jar();
  CHECK(cellar.tell("ask todo").answer == "Nothing to do.");
  cellar.world.to_do = "Now: B-07: Ease the lid.\nToday: cellar: Air the room.";
  CHECK(cellar.tell("ask todo").answer == "Now: B-07: Ease the lid. Today: cellar: Air the room.");
}

TEST_CASE("a taking is answered with what keeps the rest asleep") {
  Cellar cellar = with_jar();
  // 11 cm across, 7 mm deep, 0.85 g/ml: 57 g.
  CHECK(
      cellar.tell("take 200 g from B-07 for \"heap 4\"").answer ==
      "B-07: 200 g taken for \"heap 4\", about 2.3 kg left, Tue 10 Mar 13:00 (entry 2). To keep "
      "the "
      "rest asleep: only a dry clean spoon, level the top, wipe the rim dry, spread about 55 g of "
      "sugar on top (for a mouth of 11 cm), tie on a fresh dry cover (paper) and tell both. About "
      "53 % of the vessel is air now; a smaller one keeps it drier.");
  CHECK(std::get<culture::Take>(std::get<culture::Act>(cellar.ledger.find("B-07")->events[0].what))
            .contents == Grams(200));
}

TEST_CASE("more than is left cannot be taken; bowls may keep five per cent") {
  Cellar cellar = with_jar();  // 2510 g
  CHECK(cellar.refused("take 2636 g from B-07") ==
        "B-07 holds about 2510 g by what was told, less than the 2636 g taken; weigh it, or is the "
        "weight or the jar wrong? for example: take 200 g from B-07");
  (void)cellar.tell("take 2635 g from B-07");
  CHECK(contains(cellar.refused("take 10 g from B-07"), "holds about 0 g"));
  (void)cellar.tell("weigh B-07 300 g");
}

TEST_CASE("a weight that fits neither with nor without the vessel is asked about") {
  Cellar cellar = with_jar();  // 2510 g in 1450 g
  CHECK(
      cellar.refused("weigh B-07 4005 g") ==
      "4005 g without the vessel does not fit: about 2510 g of contents in a vessel of 1450 g were "
      "expected; was it weighed with the vessel, or was something taken or added and not told? "
      "for "
      "example: weigh B-07 4005 g with vessel");
  CHECK(contains(cellar.refused("weigh B-07 2510 g with vessel"), "weighed without the vessel"));
  CHECK(contains(cellar.refused("weigh B-07 0 g"), "more than 0 g"));
  CHECK(contains(cellar.refused("weigh B-07 4005 kg with vessel"), "is it 4005 g?"));
  CHECK(contains(cellar.tell("weigh B-07 4005 g with vessel").answer,
                 "4005 g with the vessel, so 2555 g of contents, 45 g more than reckoned from what "
                 "was told, Tue"));
  CHECK(contents_at(*cellar.ledger.find("B-07"), cellar.now) == Grams(2555));
  CHECK(contains(cellar.tell("weigh B-07 2555 g").answer, "as reckoned from what was told"));
}

TEST_CASE("both sides of the limit of an odd weight") {
  for (const auto& [grams, fits] :
       {std::pair{3138, false}, {3137, true}, {1883, true}, {1882, false}}) {
    Cellar cellar = with_jar();
    CAPTURE(grams);
    CHECK(cellar.try_tell("weigh B-07 " + std::to_string(grams) + " g").has_value() == fits);
  }
}

TEST_CASE("without the empty weight a first weighing with the vessel is a baseline") {
  Cellar cellar;
  (void)cellar.tell("new jar a1 in cellar rice 1200 g sugar 1250 g");
  CHECK(contains(cellar.tell("weigh a1 4005 g with vessel").answer,
                 "the empty weight is not known, so later weights count from this one"));
  CHECK(contains(cellar.refused("weigh a1 1837 g with vessel"), "does not fit"));
  (void)cellar.tell("new jar a2 in cellar");
  CHECK(contains(cellar.tell("weigh a2 4005 g").answer, "4005 g of contents, Tue"));
}

TEST_CASE("a weighing is asked about by the model where there is one") {
  Cellar cellar = with_jar();
  test::model_jar(cellar, "B-07");
  CHECK(contains(cellar.refused("weigh B-07 4005 g"), "was it weighed with the vessel?"));
  CHECK(contains(cellar.tell("weigh B-07 4005 g with vessel").answer,
                 "4005 g with the vessel, so 2555 g of contents"));
}

TEST_CASE("what spoils is recorded and needs no advice beside its standing's one deed") {
  for (const char* sign :
       {"green growth", "blue fuzz", "black mould", "pink slime", "rotten smell", "maggots"}) {
    Cellar cellar = with_jar();
    const Told told = cellar.tell("B-07 " + std::string(sign));
    CAPTURE(told.answer);
    CHECK(told.answer.starts_with("B-07: "));
    CHECK(told.answer.ends_with(", Tue 10 Mar 13:00 (entry 2)"));
    // The engine hears that it is spoiled before it hears the sign.
    REQUIRE(told.inputs.size() == 2);
    const auto& spoiled = std::get<rules::JarSpoiledInput>(told.inputs[0]);
    CHECK(spoiled.jar == "B-07");
    REQUIRE(spoiled.spoilage.has_value());
    CHECK(spoiled.spoilage->entry == 2);
    CHECK(spoiled.spoilage->jar == "B-07");
    CHECK(spoiled.spoilage->at == cellar.now);
    CHECK(std::holds_alternative<rules::JarObservedInput>(told.inputs[1]));
  }
  Cellar cellar = with_jar();
  for (const char* sign : {"white growth", "sour smell", "ants", "bubbling", "cracked"}) {
    CAPTURE(sign);
    CHECK(cellar.tell("B-07 " + std::string(sign)).inputs.size() == 1);
    CHECK_FALSE(cellar.ledger.spoilage_of(*cellar.ledger.find("B-07")).has_value());
  }
}

TEST_CASE("a sign that wants more than its name is answered with what to do; common practice") {
  Cellar cellar = with_jar();
  const struct {
    const char* sign;
    const char* words;
  } table[] = {
      {"ants", "feet in water or oil, and wipe spilt sugar away"},
      {"flies", "closely woven cover and wipe the rim"},
      {"frozen", "Frost does it no harm. Let it come to the room's warmth under its cover"},
      {"cracked", "use nothing that may have glass in it"},
      {"leaking", "Stand it in a tray"},
      {"smells like beer", "use it within days, or feed it with sugar"},
      {"sour smell", "use it within days, or feed it with sugar"},
      {"rising", "a hand's breadth of air above it"},
  };
  for (const auto& row : table) {
    CAPTURE(row.sign);
    CHECK(contains(cellar.tell("B-07 " + std::string(row.sign)).answer, row.words));
  }
  CHECK_FALSE(contains(with_jar().tell("B-07 all well").answer, "."));
}

TEST_CASE("gas under a cover that holds it is a hazard") {
  Cellar cellar = with_jar();
  CHECK_FALSE(contains(cellar.tell("B-07 bubbling").answer, "Caution"));
  CHECK(contains(cellar.tell("B-07 pressure").answer, "face and eyes away"));
  CHECK(contains(cellar.tell("cover B-07 with tight lid").answer,
                 "tie on paper or cloth until it is quiet"));
  CHECK(contains(cellar.tell("B-07 bubbling").answer, "can burst"));
  CHECK(contains(cellar.tell("open B-07").answer, "can burst"));
  CHECK(contains(cellar.tell("add sugar 100 g to B-07 stirred in").answer, "leave headspace"));
  CHECK_FALSE(contains(cellar.tell("add sugar 100 g to B-07").answer, "headspace"));
}

TEST_CASE("several jars and whole shelves are told at once, each with its entry") {
  Cellar cellar = with_jar();
  (void)cellar.tell("new jar B-08 in cellar/shelf-2");
  (void)cellar.tell("new jar B-09 in cellar/shelf-1");
  const Told both = cellar.tell("B-07, b8 all well");
  CHECK(both.answer == "B-07 and B-08: all well, Tue 10 Mar 13:00 (entries 4 to 5)");
  CHECK(both.entries.size() == 2);
  CHECK(both.inputs.size() == 2);
  CHECK(cellar.tell("cellar all well").entries.size() == 3);
  CHECK(cellar.tell("observe cellar/shelf-2 B-09 and b7 all well").entries.size() == 3);
}

TEST_CASE("of several jars all are recorded or none") {
  Cellar cellar = with_jar();
  (void)cellar.tell("new jar B-08 in cellar/shelf-2");
  const auto before = cellar.ledger.jars();
  CHECK(contains(cellar.refused("add sugar 100 g to B-07 B-08 B-77"), "there is no jar \"B-77\""));
  CHECK(contains(cellar.refused("B-07 all well at 2025-12-24"), "only from 2026-01-02"));
  CHECK(contains(cellar.refused("outside all well"), "no jar stands in outside"));
  CHECK(contains(cellar.refused("cellar/shelf-9 all well"), "there is no place"));
  CHECK(cellar.ledger.jars() == before);
  CHECK(cellar.tell("open B-07").entries.at(0).number == 3);
}

TEST_CASE("several jars move at once, and those that stand there stay") {
  Cellar cellar = with_jar();
  (void)cellar.tell("new jar B-08 in cellar/shelf-2");
  (void)cellar.tell("new jar B-09 in cellar/shelf-1");
  const Told told = cellar.tell("move cellar to cellar/shelf-1");
  CHECK(told.answer ==
        "2 jars (B-07 and B-08) moved to cellar/shelf-1, Tue 10 Mar 13:00; 1 stood there already "
        "(entries 4 to 5)");
  CHECK(told.entries.size() == 2);
  CHECK(cellar.refused("move B-07 B-08 to cellar/shelf-1") ==
        "B-07 and B-08 stand in cellar/shelf-1 already; for example: ask cellar/shelf-1");
}

TEST_CASE("a retired jar leaves its place and takes no more entries") {
  Cellar cellar = with_jar();
  const Told told = cellar.tell("retire B-07 because \"used up\"");
  CHECK(std::get<rules::JarRetiredInput>(told.inputs.at(0)).jar == "B-07");
  CHECK(contains(told.answer, "retired because \"used up\"; its history stays"));
  CHECK(cellar.ledger.jars_at("cellar", cellar.now).empty());
  CHECK(cellar.ledger.placements().empty());
  CHECK(contains(cellar.refused("B-07 all well"), "B-07 was retired on 2026-03-10"));
  CHECK(contains(cellar.refused("move B-07 to outside"), "moves no more"));
  CHECK(contains(cellar.tell("B-07 all well at 2026-03-01").answer, "all well"));
}

TEST_CASE("a jar cannot be retired before it was moved") {
  Cellar cellar = with_jar();
  (void)cellar.tell("move B-07 to outside at 2026-03-08");
  CHECK(contains(cellar.refused("retire B-07 because gone at 2026-03-07"), "was moved to outside"));
}

TEST_CASE("a level is compared with the one before") {
  Cellar cellar = with_jar();
  CHECK(
      contains(cellar.tell("measure B-07 level 9 cm at 2026-03-01").answer, "B-07: level 9 cm, "));
  CHECK(contains(cellar.tell("measure B-07 level 9.4 cm at 2026-03-02").answer, "as before"));
  CHECK(contains(cellar.tell("measure B-07 level 10 cm at 2026-03-03").answer,
                 "level 10 cm, 6 mm higher than on Mon 2 Mar 00:00"));
  CHECK(contains(cellar.refused("measure B-07 level 0 cm"), "fits no jar"));
  CHECK(contains(cellar.refused("measure B-07 headspace 101 %"), "more than air can hold"));
  // The longest sentence with nothing but digits in it is answered in few words.
  for (const char* unit : {" %", " g"}) {
    const bool weight = std::string_view(unit) == " g";
    const auto read = parse_sentence(
        (weight ? "weigh B-07 " : "measure B-07 headspace ") + std::string(309, '9') + unit,
        cellar.zone);
    REQUIRE_FALSE(read);
    CHECK(read.error().text.size() < 260);
  }
  (void)cellar.tell("measure B-07 headspace 100 %");
}

TEST_CASE("a late entry takes its place in time and promises no figures") {
  Cellar cellar = with_jar();
  test::stand_jar(cellar, "B-07", culture::State::dormant, rules::Use::yes);
  (void)cellar.tell("open B-07");
  const Told told = cellar.tell("add sugar 120 g to B-07 at 2026-03-05T18:30");
  CHECK(contains(told.answer, "Thu 5 Mar 18:30; noted late (entry 3)"));
  REQUIRE(told.revised.size() == 1);
  CHECK(told.revised[0] == RevisedJar{"B-07", "dormant, use: yes"});
  CHECK(told.jars.empty());  // the revision says how it stands
  CHECK(revised_text(told.revised, cellar.world, false) ==
        " B-07 is being worked out anew (before: dormant, use: yes); `ask B-07` says how it is "
        "then.");
  // As before, and so not said twice.
  CHECK(revised_text(told.revised, cellar.world, true) ==
        " B-07 (cellar/shelf-2): dormant, use: yes. Nothing to do. It sleeps.");
  test::stand_jar(cellar, "B-07", culture::State::due, rules::Use::look_first);
  CHECK(revised_text(told.revised, cellar.world, true) ==
        " B-07 (cellar/shelf-2): due, use: look first. Nothing to do. It sleeps. (before: dormant, "
        "use: yes)");
  CHECK(std::get<rules::JarActInput>(told.inputs.at(0)).at == utc("2026-03-05T17:30:00Z"));
  const auto& events = cellar.ledger.find("B-07")->events;
  REQUIRE(events.size() == 2);
  CHECK(events[0].entry == 3);
  CHECK(events[1].entry == 2);
}

TEST_CASE("an entry is withdrawn, never deleted, and what followed is derived anew") {
  Cellar cellar = with_jar();
  (void)cellar.tell("add sugar 120 g to B-07");
  (void)cellar.tell("B-07 bubbling");
  const Told told = cellar.tell("withdraw entry 2 because \"wrong jar\"");
  CHECK(
      told.answer ==
      "entry 2 (\"add sugar 120 g to B-07\") is withdrawn because \"wrong jar\"; the journal keeps "
      "it, marked so (entry 4). B-07: it holds about 2510 g now (before: about 2630 g)");
  CHECK(told.revised == std::vector<RevisedJar>{{"B-07", ""}});
  CHECK(revised_text(told.revised, cellar.world, false) ==
        " B-07 is being worked out anew; `ask B-07` says how it is then.");
  // What the engine has not settled of the time since is forgotten, and what stands is told anew.
  REQUIRE(told.inputs.size() == 2);
  CHECK(std::get<rules::JarOutdatedInput>(told.inputs[0]).jar == "B-07");
  CHECK(std::get<rules::JarOutdatedInput>(told.inputs[0]).forgets);
  CHECK(std::holds_alternative<rules::JarObservedInput>(told.inputs[1]));
  CHECK(cellar.ledger.find("B-07")->events.size() == 1);
  CHECK(cellar.ledger.entries_about("B-07") == std::set<std::uint64_t>{1, 2, 3, 4});
  CHECK(cellar.ledger.entries_about("B-7").empty());
  CHECK(cellar.refused("withdraw entry 2 because again") ==
        "entry 2 was withdrawn already, by entry 4; for example: ask jars");
  CHECK(contains(cellar.refused("withdraw entry 4 because again"), "is a withdrawal"));
  CHECK(contains(cellar.refused("withdraw entry 99 because again"),
                 "there is no entry 99; the last is 4"));
}

TEST_CASE("a move withdrawn places the jar where it stood") {
  Cellar cellar = with_jar();
  (void)cellar.tell("move B-07 to outside");
  const Told told = cellar.tell("withdraw entry 2 because \"it never moved\"");
  REQUIRE(told.inputs.size() == 2);
  CHECK(std::get<rules::JarPlacedInput>(told.inputs[0]).place == "cellar/shelf-2");
  CHECK(contains(
      told.answer,
      "B-07: it stands in cellar/shelf-2 since Fri 2 Jan 00:00 now (before: outside since "));
}

TEST_CASE("a retirement withdrawn brings the jar back with all that was told of it") {
  Cellar cellar = with_jar();
  (void)cellar.tell("add sugar 120 g to B-07");
  (void)cellar.tell("retire B-07 because \"used up\"");
  const Told told = cellar.tell("withdraw entry 3 because \"it was B-08\"");
  CHECK(contains(told.answer, "B-07: it is in use again (before: retired)"));
  REQUIRE(told.inputs.size() == 5);
  CHECK(std::holds_alternative<rules::JarPlacedInput>(told.inputs[0]));
  CHECK(std::holds_alternative<rules::JarClosedInput>(told.inputs[1]));
  CHECK(std::holds_alternative<rules::JarActInput>(told.inputs[2]));
  CHECK(std::holds_alternative<rules::JarOutdatedInput>(told.inputs[3]));
  CHECK(std::holds_alternative<rules::JarActInput>(told.inputs[4]));
  CHECK(cellar.ledger.jars_at("cellar", cellar.now).size() == 1);
}

TEST_CASE("a registration withdrawn is told again, and what was noted counts again") {
  Cellar cellar = with_jar();
  (void)cellar.tell("add sugar 120 g to B-07");
  const Told gone = cellar.tell("withdraw entry 1 because \"wrong weights\"");
  CHECK(contains(gone.answer, "B-07 is not in the ledger now"));
  CHECK(std::holds_alternative<rules::JarRetiredInput>(gone.inputs.at(0)));
  CHECK(cellar.ledger.find("B-07") == nullptr);
  const Told again =
      cellar.tell("new jar b-07 in cellar rice 1100 g sugar 1250 g closed 2026-01-02");
  CHECK(contains(again.answer, "What was noted of it before counts again: 1 entries"));
  CHECK(cellar.ledger.find("B-07")->events.size() == 1);
  CHECK(again.inputs.size() == 3);
}

}  // namespace torpor::daemon
