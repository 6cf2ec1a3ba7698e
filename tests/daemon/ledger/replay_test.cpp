// State is derived from the journal and from nothing else.
#include <doctest/doctest.h>

#include <random>

#include "daemon/ledger/ledger.h"
#include "tests/daemon/ledger/found_by_looking.h"
#include "tests/daemon/ledger/told_world.h"

namespace torpor::daemon {

using test::Cellar;
using test::utc;

namespace {

JournalEntry entry(std::uint64_t number, std::string act) {
  JournalEntry entry;
  entry.number = number;
  entry.happened_at = utc("2026-03-10T12:00:00Z");
  entry.act = std::move(act);
  return entry;
}

std::string replayed(Ledger& ledger, const JournalEntry& entry) {
  const auto outcome = ledger.replay(entry);
  return outcome ? "ok" : outcome.error();
}

// Some sentence about some of few jars and places, often late, often one that must be refused.
std::string random_sentence(std::mt19937& random, const Cellar& cellar) {
  const auto below = [&](unsigned limit) { return static_cast<unsigned>(random() % limit); };
  const std::string jar = (below(2) ? "B-0" : "b") + std::to_string(1 + below(6));
  const std::string place = test::World().known_places[below(5)];
  std::string text;
  switch (below(18)) {
    case 0:
    case 1:
      text = "new jar " + jar + " in \"" + place + "\" rice 1200 g raw 560 g sugar 1250 g";
      break;
    case 2:
      text = "ask " + jar;
      break;
    case 3:
      text = "add sugar 120 g to " + jar;
      break;
    case 4:
      text = "take 100 g from " + jar + " for \"heap\"";
      break;
    case 5:
      text = jar + " B-02 bubbling, sweet smell";
      break;
    case 6:
      text = "cover " + jar + " with kraft";
      break;
    case 7:
      text = below(4) ? "open " + jar : "retire " + jar + " because \"used up\"";
      break;
    case 8:
    case 9:
      text = "withdraw entry " + std::to_string(1 + below(60)) + " because \"wrong\"";
      break;
    case 11:
      text = "new collection C-0" + std::to_string(1 + below(3)) + " where meadow";
      break;
    case 12:
      text = "new jar " + jar + " in cellar from C-0" + std::to_string(1 + below(3)) + " and B-0" +
             std::to_string(1 + below(6));
      break;
    case 13:
    case 14:
      text = "split 100 g from " + jar + " into S-0" + std::to_string(1 + below(6)) + " in cellar";
      break;
    case 15:
      text = "split 20 g from S-0" + std::to_string(1 + below(6)) + " into " + jar + " in cellar";
      break;
    case 10:
      text = "\"" + place + "\" all well";
      break;
    default:
      text = "move " + jar + " to \"" + place + "\"";
      break;
  }
  if (below(2)) {
    const auto ago = std::chrono::hours(below(300)) + std::chrono::minutes(below(2) * 30);
    text += " at " + to_rfc3339(cellar.now - ago);
  }
  if (below(3) == 0) text += " by \"Mara\"";
  return text;
}

void check_stays(const Jar& jar) {
  REQUIRE_FALSE(jar.stays.empty());
  CHECK(jar.stays.back().to == jar.retired_at);
  for (std::size_t i = 0; i + 1 < jar.events.size(); ++i) {
    CHECK(jar.events[i].at <= jar.events[i + 1].at);
    CHECK(jar.events[i].entry != jar.events[i + 1].entry);
  }
  for (std::size_t i = 0; i + 1 < jar.stays.size(); ++i) {
    CHECK(jar.stays[i].from < jar.stays[i + 1].from);
    CHECK(jar.stays[i].to == jar.stays[i + 1].from);
  }
}

}  // namespace

TEST_CASE("replaying the journal gives the state that live tells gave") {
  for (unsigned seed = 1; seed <= 40; ++seed) {
    CAPTURE(seed);
    std::mt19937 random(seed);
    Cellar cellar;
    std::size_t refused = 0;
    for (int i = 0; i < 120; ++i) {
      cellar.now += std::chrono::minutes(random() % 600);
      const Ledger before = cellar.ledger;
      if (!cellar.try_tell(random_sentence(random, cellar))) {
        ++refused;
        CHECK(cellar.ledger.jars() == before.jars());
      }
    }
    CHECK(refused > 0);
    CHECK(cellar.journal.size() > 10);

    Ledger again;
    for (const JournalEntry& written : cellar.journal) CHECK(replayed(again, written) == "ok");
    CHECK(again.jars() == cellar.ledger.jars());
    CHECK(again.collections() == cellar.ledger.collections());
    for (const auto& [id, jar] : again.jars()) check_stays(jar);

    // Both go on alike: the next entry has the same number.
    const auto next = [&](Ledger& ledger) {
      const Sentence sentence = test::parsed("new jar Z in cellar", cellar.zone);
      return ledger.tell(sentence, "", cellar.now, cellar.wall, cellar.zone, cellar.world)
          ->entries.at(0);
    };
    CHECK(next(again) == next(cellar.ledger));
  }
}

// Jars that were made from jars that were seen gassing in undissolved sugar, told late and taken
// back; shares of those, and what was made from the shares.
std::string random_line(std::mt19937& random) {
  const auto below = [&](unsigned limit) { return static_cast<unsigned>(random() % limit); };
  const std::string jar = "B-" + std::to_string(1 + below(6));
  const std::string other = "B-" + std::to_string(1 + below(6));
  switch (below(8)) {
    case 0:
      return "new jar " + jar + " in cellar rice 1200 g raw 560 g sugar 2400 g closed 2025-0" +
             std::to_string(1 + below(9)) + "-01";
    case 1:
    case 2:
      return "new jar " + jar + " in cellar rice 1200 g raw 560 g sugar 2400 g closed 2025-1" +
             std::to_string(below(3)) + "-01 from " + other;
    case 3:
      return "split 100 g from " + other + " into S-" + std::to_string(1 + below(3)) +
             " in cellar at 2025-1" + std::to_string(below(3)) + "-15";
    case 4:
      return "new jar " + jar + " in cellar rice 1200 g sugar 1200 g from S-" +
             std::to_string(1 + below(3));
    case 5:
      return jar + " bubbling at 2025-1" + std::to_string(below(3)) + "-20";
    case 6:
      if (below(4) > 0) return jar + " bubbling at 2025-12-05";
      return "retire " + jar + " because \"used up\"";
    default:
      return "withdraw entry " + std::to_string(1 + below(30)) + " because \"wrong\"";
  }
}

TEST_CASE("what is found fast is what a look at all jars finds, and who is told of it the same") {
  std::size_t changed = 0;
  for (unsigned seed = 1; seed <= 150; ++seed) {
    CAPTURE(seed);
    std::mt19937 random(seed);
    Cellar cellar;
    for (int i = 0; i < 60; ++i) {
      std::map<std::string, bool> before;
      for (const auto& [id, jar] : cellar.ledger.jars()) {
        before.emplace(id, jar.parent_worked_in_sugar);
      }
      const auto told = cellar.try_tell(random_line(random));
      if (!told) continue;
      test::check_by_looking(cellar.ledger, cellar.journal);
      for (const auto& [id, jar] : cellar.ledger.jars()) {
        const auto was = before.find(id);
        if (was == before.end() || was->second == jar.parent_worked_in_sugar || jar.retired_at) {
          continue;
        }
        ++changed;
        CAPTURE(id);
        CHECK(std::any_of(told->inputs.begin(), told->inputs.end(), [&](const rules::Input& input) {
          const auto* outdated = std::get_if<rules::JarOutdatedInput>(&input);
          return outdated != nullptr && outdated->jar == id && outdated->from <= jar.closed();
        }));
      }
    }
    Ledger again;
    for (const JournalEntry& written : cellar.journal) REQUIRE(replayed(again, written) == "ok");
    test::check_by_looking(again, cellar.journal);
    CHECK(again.jars() == cellar.ledger.jars());
  }
  CHECK(changed > 20);
}

TEST_CASE("a damaged or impossible entry is an error text and changes nothing") {
  Ledger ledger;
  const std::string made = R"({"act":"new_jar","jar":"B-07","place":"cellar"})";
  CHECK(replayed(ledger, entry(3, made)) == "ok");
  CHECK(replayed(ledger, entry(3, made)) == "journal entry 3: out of order, 4 is the next");
  CHECK(replayed(ledger, entry(4, "{")) ==
        "journal entry 4: the journal entry \"{\" is not a JSON object");
  CHECK(replayed(ledger, entry(5, R"({"act":"new_jar","jar":"b-07","place":"cellar"})")) ==
        "journal entry 5: jar B-07 exists already");
  CHECK(replayed(ledger, entry(6, R"({"act":"move","jar":"C","place":"cellar"})")) ==
        "journal entry 6: there is no jar C");
  CHECK(replayed(ledger, entry(7, R"({"act":"move","jar":"B-07","place":"cellar"})")) ==
        "journal entry 7: jar B-07 cannot have moved to cellar at 2026-03-10T12:00:00Z");
  CHECK(replayed(ledger, entry(8, R"({"act":"seen"})")) ==
        "journal entry 8: an act that is never journaled");
  CHECK(ledger.jars().size() == 1);
  CHECK(ledger.find("B-07")->stays.size() == 1);
}

TEST_CASE("numbers of damaged entries are not used again") {
  Cellar cellar;
  CHECK(replayed(cellar.ledger, entry(41, "{")) != "ok");
  CHECK(cellar.tell("new jar B-07 in cellar").entries.at(0).number == 42);
}

}  // namespace torpor::daemon
