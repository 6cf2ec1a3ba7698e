// Ten thousand sentences made up from the grammar's own words and from nonsense, told to a
// storeroom: each is answered in one line, once, and the ledger replayed from the journal is the
// same.
#include <doctest/doctest.h>

#include <algorithm>
#include <random>

#include "daemon/report/gather.h"
#include "tests/daemon/service/test_room.h"
#include "tests/daemon/temp_folder.h"

namespace torpor::tests {
namespace {

using namespace daemon;

class Teller {
 public:
  explicit Teller(unsigned seed) : random_(seed) {}

  std::string sentence() {
    std::string text = form();
    // Half of them are spoilt somewhere.
    if (random_() % 2 == 0) return text;
    switch (random_() % 4) {
      case 0:
        return text.substr(0, random_() % (text.size() + 1));
      case 1:
        return text.insert(random_() % (text.size() + 1), nonsense());
      case 2:
        text[random_() % text.size()] = static_cast<char>(random_() % 256);
        return text;
      default:
        return text + " " + form();
    }
  }

 private:
  template <std::size_t N>
  const char* one_of(const char* const (&choices)[N]) {
    return choices[random_() % N];
  }
  const char* jar() {
    return one_of({"F-01", "f1", "F-02", "F-3", "F-4", "Z-9", "cellar/shelf-1"});
  }
  const char* place() {
    return one_of({"cellar", "cellar/shelf-1", "cellar/shelf-2", "outside", "x"});
  }
  const char* weight() {
    return one_of(
        {"120 g", "0 g", "1,5 kg", "2 lb 10 oz", "two cups", "1e9 g", "-5 g", "99999 kg"});
  }
  const char* nonsense() {
    return one_of(
        {"\x1b[2J", "<b>&", "\"", "\xff", "\xe2\x80\xae", "\n", "  ", "because", "\0x", "%s"});
  }
  std::string ending() {
    return one_of({"", "", "", " by \"Mara <b>\"", " at 2025-07-14T10:00", " at 2030-01-01T10:00",
                   " at 2025-03-30T02:30"});
  }
  std::string number() { return std::to_string(random_() % 40); }

  std::string form() {
    const std::string id = jar();
    const auto about = [&](const std::string& text) { return text + ending(); };
    switch (random_() % 20) {
      case 0:
        return about("new jar F-" + number() + " in " + place() + " rice " + weight() + " sugar " +
                     weight() + " closed 2025-07-14");
      case 1:
        return about("move " + id + " to " + place());
      case 2:
        return about("add sugar " + std::string(weight()) + " to " + id);
      case 3:
        return about("take " + std::string(weight()) + " from " + id + " for \"heap <4>\"");
      case 4:
        return about("weigh " + id + " " + weight() + " with vessel");
      case 5:
        return about(id + " bubbling, sweet smell");
      case 6:
        return about("measure " + id + " level 9 cm");
      case 7:
        return about("measure " + id + " headspace 82 %");
      case 8:
        return about("wake test " + id + " lively");
      case 9:
        return about("retire " + id + " because \"used up\"");
      case 10:
        return about("withdraw entry " + number() + " because \"wrong\"");
      case 11:
        return about("seen alert " + number());
      case 12:
        return about("defer alert " + number() + " for 6 h because \"moving\"");
      case 13:
        return about("ask " + id);
      case 14:
        return about("split " + std::string(weight()) + " from " + id + " into F-" + number() +
                     " in " + place());
      case 15:
        return about("new collection C-" + number() + " where \"beech hollow\"");
      case 16:
        return about("check s1 against 21.4 degC within 0.3 K");
      case 17:
        return about("calibrate s1 in table salt");
      case 18:
        return about("cover " + id + " with kraft");
      default:
        return about("open " + id);
    }
  }

  std::mt19937 random_;
};

TEST_CASE("ten thousand sentences, right and wrong: each answered once, in one harmless line") {
  const TempFolder folder;
  const StoreroomSettings settings = room_settings(folder.path());
  auto room = open_room(settings);
  Teller teller(7);
  std::size_t answers = 0, refused = 0;
  const auto hear = [&] {
    REQUIRE(room->commit());
    while (const auto next = room->next_recomputation()) {
      auto record = work_out(*next);
      REQUIRE(record);
      feed(*room, *record);
      REQUIRE(room->commit());
    }
    room->release_answers();
    REQUIRE(room->commit());
    for (const OutboxMessage& message : room->take_outgoing()) {
      // What comes of a check is told there, too.
      if (!message.id.starts_with("answer-")) continue;
      CHECK(message.topic == "torpor/cellar/answer");
      ++answers;
      refused += message.payload.starts_with(kNotRecorded) ? 1 : 0;
      CAPTURE(message.payload);
      CHECK_FALSE(message.payload.empty());
      CHECK(std::none_of(message.payload.begin(), message.payload.end(),
                         [](char c) { return static_cast<unsigned char>(c) < 0x20 || c == 0x7F; }));
      room->delivered(message.id);
    }
  };
  for (int i = 0; i < 10'000; ++i) {
    if (i % 10 == 0) feed(*room, reading("s1", minutes(i / 10), 20.0 + i % 7 * 0.1, 60.0));
    feed(*room, tell(teller.sentence(), minutes(i / 10)));
    if (i % 500 == 499) hear();
  }
  CHECK(answers == 10'000);
  CHECK(refused > 3000);
  CHECK(refused < 9500);
  const auto reader = Reader::open(settings.history, settings.spool);
  REQUIRE(reader);
  CHECK((*reader)->journal().size() > 300);
  CHECK(ledger_of(**reader).has_value());
}

}  // namespace
}  // namespace torpor::tests
