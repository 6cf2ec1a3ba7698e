// What spoils a jar stays, through what is seen, tested and made later, until the entry that told
// it is withdrawn. That coloured growth, rot and larvae spoil all of a jar is common practice, no
// source.
#include <doctest/doctest.h>

#include "daemon/ledger/deeds.h"
#include "tests/daemon/ledger/told_world.h"

namespace torpor::daemon {

using test::Cellar;
using test::contains;
using test::utc;
namespace culture = rules::culture;

namespace {

constexpr const char* kSound =
    "in cellar/shelf-2 rice 1200 g raw 560 g sugar 1250 g cover paper closed 2026-01-02";

Cellar with_a2() {
  Cellar cellar;
  (void)cellar.tell("new jar A2 " + std::string(kSound));  // entry 1
  return cellar;
}

std::optional<rules::Spoilage> spoilage(const Cellar& cellar, const std::string& jar) {
  return cellar.ledger.spoilage_of(*cellar.ledger.find(jar));
}

// "A2 entry 2, B-01 free": the jars that the engine is told of, in order.
std::string told_spoilage(const Told& told) {
  std::string words;
  for (const rules::Input& input : told.inputs) {
    const auto* spoiled = std::get_if<rules::JarSpoiledInput>(&input);
    if (spoiled == nullptr) continue;
    words += (words.empty() ? "" : ", ") + spoiled->jar +
             (spoiled->spoilage ? " entry " + std::to_string(spoiled->spoilage->entry) : " free");
  }
  return words;
}

void check_replays_spoiled(const Cellar& cellar) {
  Ledger again;
  for (const JournalEntry& entry : cellar.journal) REQUIRE(again.replay(entry));
  for (const auto& [id, jar] : cellar.ledger.jars()) {
    CHECK(again.spoilage_of(*again.find(id)) == cellar.ledger.spoilage_of(jar));
  }
}

constexpr std::string_view kGreenInA2 =
    "A2 is not for use. Green growth was found in it (entry 2). Keep it, and what is taken from "
    "it, "
    "from food and from other jars. Recorded all the same: ";

}  // namespace

TEST_CASE("no look, test, sugar or cover takes back what spoils; each is recorded, warned first") {
  Cellar cellar = with_a2();
  (void)cellar.tell("A2 green mould");
  for (const char* sentence :
       {"A2 all well", "wake test A2 lively", "add sugar 100 g to A2",
        "take 300 g from A2 for \"tomatoes\"", "A2 sweet smell", "open A2"}) {
    CAPTURE(sentence);
    const Told told = cellar.tell(sentence);
    CAPTURE(told.answer);
    CHECK(told.answer.starts_with(kGreenInA2));
    CHECK(told.entries.size() == 1);
    for (const char* advice : {"To keep the rest asleep", "dry spoon", "Close it soon"}) {
      CHECK_FALSE(contains(told.answer, advice));
    }
    CHECK(spoilage(cellar, "A2")->entry == 2);
  }
  // Its lid, and its end, are what was asked for.
  CHECK(cellar.tell("cover A2 with kraft").answer.starts_with("A2: covered with kraft"));
  check_replays_spoiled(cellar);
  CHECK(cellar.tell("retire A2 because \"spoiled\"").answer.starts_with("A2: retired"));
}

TEST_CASE("a jar split off from a spoiled one, or made from it, is spoiled with it") {
  Cellar cellar = with_a2();
  (void)cellar.tell("A2 green mould");
  const Told split = cellar.tell("split 400 g from A2 into B-01 in cellar");
  CHECK(split.answer.starts_with(
      "B-01 is not for use. Green growth was found in A2, which it comes from (entry 2). Keep it, "
      "and what is taken from it, from food and from other jars. Recorded all the same: B-01 holds "
      "400 g of A2"));
  CHECK_FALSE(contains(split.answer, "To keep the rest asleep"));
  CHECK(split.jars == std::vector<std::string>{"A2", "B-01"});
  CHECK(told_spoilage(split) == "B-01 entry 2");
  const Told made = cellar.tell("new jar B-02 in cellar from A2");
  CHECK(contains(made.answer,
                 "B-02 is not for use. Green growth was found in A2, which it comes "
                 "from (entry 2)."));
  CHECK(told_spoilage(made) == "B-02 entry 2");
  // It is spoiled since it was closed: not before it was there.
  CHECK(spoilage(cellar, "B-02")->at == cellar.now);
  CHECK(spoilage(cellar, "B-02")->jar == "A2");
  check_replays_spoiled(cellar);
}

TEST_CASE("what is found later reaches every jar of the line, and no jar it was made from") {
  Cellar cellar = with_a2();
  (void)cellar.tell("split 400 g from A2 into B-01 in cellar");  // entry 2
  (void)cellar.tell("new jar C-01 in cellar from B-01");         // 3: a grandchild
  (void)cellar.tell("new jar C-02 in cellar from B-01 and A2");  // 4
  (void)cellar.tell("new jar Z-01 in cellar");                   // 5: none of the line
  cellar.now += std::chrono::hours(1);
  CHECK(told_spoilage(cellar.tell("B-01 black spots")) ==
        "B-01 entry 6, C-01 entry 6, C-02 entry 6");
  CHECK_FALSE(spoilage(cellar, "A2").has_value());
  CHECK_FALSE(spoilage(cellar, "Z-01").has_value());
  CHECK(told_spoilage(cellar.tell("A2 maggots")) ==
        "A2 entry 7, B-01 entry 6, C-02 entry 6, C-01 entry 6");
  CHECK(rules::spoilage_words(*spoilage(cellar, "C-01"), "C-01") ==
        "Black growth was found in B-01, which it comes from (entry 6).");
  check_replays_spoiled(cellar);
}

TEST_CASE("the withdrawal of the entry frees the jar and its line, and says so") {
  Cellar cellar = with_a2();
  (void)cellar.tell("split 400 g from A2 into B-01 in cellar");  // entry 2
  (void)cellar.tell("new jar C-01 in cellar from B-01");         // entry 3
  cellar.now += std::chrono::hours(1);
  (void)cellar.tell("A2 green mould");  // entry 4
  const Told told = cellar.tell("withdraw entry 4 because \"it was A3\"");
  CHECK(contains(told.answer,
                 ". A2, B-01 and C-01 are no longer spoiled: nothing else that was noted "
                 "spoils them"));
  CHECK(told_spoilage(told) == "A2 free, B-01 free, C-01 free");
  CHECK(told.jars == std::vector<std::string>{"B-01", "C-01"});  // A2 is among the revised
  for (const char* jar : {"A2", "B-01", "C-01"}) CHECK_FALSE(spoilage(cellar, jar).has_value());
  CHECK(cellar.tell("A2 all well").answer.starts_with("A2: all well"));
  check_replays_spoiled(cellar);
}

TEST_CASE("a second sign keeps spoiled what the withdrawal of the first would free") {
  Cellar cellar = with_a2();
  (void)cellar.tell("split 400 g from A2 into B-01 in cellar");  // entry 2
  cellar.now += std::chrono::hours(1);
  (void)cellar.tell("B-01 pink slime");  // entry 3
  (void)cellar.tell("A2 green mould");   // entry 4
  (void)cellar.tell("A2 rotten smell");  // entry 5
  const Told first = cellar.tell("withdraw entry 4 because mistaken");
  CHECK_FALSE(contains(first.answer, "no longer spoiled"));
  CHECK(spoilage(cellar, "A2")->entry == 5);
  const Told second = cellar.tell("withdraw entry 5 because mistaken");
  CHECK(
      contains(second.answer, ". A2 is no longer spoiled: nothing else that was noted spoils it"));
  CHECK(told_spoilage(second) == "A2 free, B-01 entry 3");
  check_replays_spoiled(cellar);
}

TEST_CASE("a shelf looks well but for what is spoiled on it, which is named") {
  Cellar cellar = with_a2();
  (void)cellar.tell("new jar A3 " + std::string(kSound));
  (void)cellar.tell("new jar A4 " + std::string(kSound));
  (void)cellar.tell("A3 green mould");  // entry 4
  const Told told = cellar.tell("cellar/shelf-2 all well");
  CHECK(
      told.answer ==
      "A2 and A4: all well, Tue 10 Mar 13:00 (entries 5 to 6). Not of A3: spoiled, and that stays "
      "whatever is seen later; `ask A3` says why and what to do");
  CHECK(told.entries.size() == 2);
  // Of anything else that is seen nothing is left out.
  CHECK(cellar.tell("cellar/shelf-2 sweet smell").entries.size() == 3);
  (void)cellar.tell("A2 green mould");
  (void)cellar.tell("A4 green mould");
  CHECK(cellar.refused("cellar all well") ==
        "A2, A3 and A4 are spoiled, and stay so whatever is seen later; for example: ask A2");
}

TEST_CASE("all well within a minute of a sign contradicts it, and is answered so") {
  Cellar cellar = with_a2();
  (void)cellar.tell("A2 bubbling");  // entry 2
  const auto well_after = [&](Duration later) {
    Cellar then = cellar;
    then.now = cellar.now + later;
    return then.tell("A2 all well").answer;
  };
  const std::string_view asked =
      "You told `bubbling` of A2 less than a minute before (entry 2): which is right? The sign "
      "counts until a later look. If it was a mistake, tell `withdraw entry 2 because "
      "\"mistaken\"`. Recorded all the same: A2: all well";
  CHECK(well_after(Duration(0)).starts_with(asked));
  CHECK(well_after(std::chrono::seconds(60) - Duration(1)).starts_with(asked));
  CHECK(well_after(std::chrono::seconds(60)).starts_with("A2: all well"));
  // What says nothing of waking is contradicted by nothing.
  Cellar other = with_a2();
  (void)other.tell("A2 crust");
  CHECK(other.tell("A2 all well").answer.starts_with("A2: all well"));
}

TEST_CASE("what is seen of a retired or unknown jar is refused, and what to tell is said") {
  Cellar cellar = with_a2();
  CHECK(contains(cellar.refused("A9 green mould"), "there is no jar"));
  (void)cellar.tell("retire A2 because \"used up\"");
  CHECK(contains(cellar.refused("A2 green mould"),
                 "A2 was retired on 2026-03-10; if that was a mistake, withdraw that entry"));
  CHECK_FALSE(spoilage(cellar, "A2").has_value());
}

}  // namespace torpor::daemon
