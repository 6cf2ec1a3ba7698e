// Entries that were noted while the board's clock was wrong.
#include <doctest/doctest.h>

#include "tests/daemon/ledger/told_world.h"

namespace torpor::daemon::test {
namespace {

using std::chrono::days;
using std::chrono::hours;

constexpr Duration kTenYears = days(3653);

struct Notebook {
  World world;
  LocalTime zone = zone_of("Europe/Vienna");
  Ledger ledger;
  std::vector<JournalEntry> journal;

  std::string say(const std::string& sentence, Instant now) {
    auto told = ledger.tell(parsed(sentence, zone), sentence, now, now, zone, world);
    REQUIRE_MESSAGE(told, (told ? std::string() : told.error().text));
    journal.insert(journal.end(), told->entries.begin(), told->entries.end());
    return told->answer;
  }
  Told date_anew(Instant from, Duration by, Instant now) {
    Told told = ledger.date_anew(from, by, now, now);
    journal.insert(journal.end(), told.entries.begin(), told.entries.end());
    return told;
  }
  // As a restart finds it.
  void check_replayed() const {
    Ledger again;
    for (const JournalEntry& entry : journal) REQUIRE(again.replay(entry));
    CHECK(again.jars() == ledger.jars());
    CHECK(again.collections().size() == ledger.collections().size());
    CHECK(again.sensor_checks() == ledger.sensor_checks());
  }
};

const Instant kBefore = utc("2026-03-01T08:00:00Z");
const Instant kBegins = utc("2026-03-02T08:00:00Z");  // the wrong clock

}  // namespace

TEST_CASE("what was told by a clock ten years ahead counts at its right time, and nothing else") {
  Notebook book;
  book.say("new jar B-01 in cellar/shelf-1", kBefore);
  const Instant wrong = kBegins + kTenYears;
  book.say("move B-01 to cellar/shelf-2", wrong + hours(1));
  book.say("new jar B-02 in cellar/shelf-1 closed 2026-02-20", wrong + hours(2));
  book.say("new jar B-03 in cellar/shelf-1 closed 2036-03-02", wrong + hours(2));
  book.say("B-02 bubbling", wrong + hours(3));
  const Told told = book.date_anew(wrong, -kTenYears, kBegins + hours(4));
  CHECK(told.answer == "4 entries");
  REQUIRE(told.entries.size() == 1);
  const Jar& first = *book.ledger.find("B-01");
  CHECK(first.stays.front().from == kBefore);
  CHECK(first.stays.back().from == kBegins + hours(1));
  // A date that was said in full stays what it is.
  CHECK(book.ledger.find("B-02")->closed() == utc("2026-02-19T23:00:00Z"));
  CHECK(book.ledger.find("B-02")->events.front().at == kBegins + hours(3));
  // One of the clock's own day was taken from the clock.
  CHECK(book.ledger.find("B-03")->closed() == utc("2026-03-01T23:00:00Z"));
  CHECK(book.ledger.find("B-03")->stays.front().from == utc("2026-03-01T23:00:00Z"));
  CHECK(book.ledger.happened_at(2) == kBegins + hours(1));
  bool placed = false;
  for (const rules::Input& input : told.inputs) {
    const auto* each = std::get_if<rules::JarPlacedInput>(&input);
    placed = placed || (each != nullptr && each->jar == "B-01" && each->at == kBegins + hours(1));
  }
  CHECK(placed);
  book.check_replayed();
}

TEST_CASE("the clock's entry can be withdrawn, and dates are as first written") {
  Notebook book;
  book.say("new jar B-01 in cellar/shelf-1", kBefore);
  book.say("move B-01 to cellar/shelf-2", kBegins + hours(1));
  book.date_anew(kBegins, days(2), kBegins + days(2) + hours(2));
  CHECK(book.ledger.find("B-01")->stays.back().from == kBegins + days(2) + hours(1));
  const std::string answer =
      book.say("withdraw entry 3 because \"it was right before\"", kBegins + days(2) + hours(3));
  CHECK(answer.find("counts at the time that was first written") != std::string::npos);
  CHECK(book.ledger.find("B-01")->stays.back().from == kBegins + hours(1));
  book.check_replayed();
}

TEST_CASE("a second wrong clock moves what it stamped and not what the first did") {
  Notebook book;
  book.say("new jar B-01 in cellar/shelf-1", kBefore);
  book.say("move B-01 to cellar/shelf-2", kBegins + kTenYears);
  book.date_anew(kBegins + kTenYears, -kTenYears, kBegins + hours(1));
  book.say("move B-01 to cellar/shelf-1", kBegins + hours(2) + kTenYears);
  CHECK(book.date_anew(kBegins + kTenYears, -kTenYears, kBegins + hours(3)).answer == "1 entry");
  const auto& stays = book.ledger.find("B-01")->stays;
  REQUIRE(stays.size() == 3);
  CHECK(stays[1].from == kBegins);
  CHECK(stays[2].from == kBegins + hours(2));
  CHECK(book.date_anew(kBegins + days(30), days(1), kBegins + days(31)).answer == "0 entries");
  book.check_replayed();
}

}  // namespace torpor::daemon::test
