// Damage of every kind to everything that a storeroom keeps. Whatever it is: the room is watched,
// the keeper is told, and nothing is lost without a word. The short run takes the worst;
// TORPOR_LONG=1 all.
#include <doctest/doctest.h>

#include <algorithm>
#include <cstdlib>
#include <fstream>
#include <functional>
#include <map>
#include <set>

#include "daemon/history/inbox_segment.h"
#include "daemon/history/integrity_check.h"
#include "daemon/history/small_copy.h"
#include "daemon/history/sqlite.h"
#include "tests/daemon/service/test_room.h"
#include "tests/daemon/temp_folder.h"

using namespace torpor;
using namespace torpor::daemon;
using namespace torpor::tests;

namespace {

namespace fs = std::filesystem;
constexpr std::size_t kPage = 4096;

bool long_run() {
  const char* wanted = std::getenv("TORPOR_LONG");
  return wanted != nullptr && std::string(wanted) == "1";
}

std::string bytes_of(const fs::path& file) {
  std::ifstream stream(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), {}};
}

void put_bytes(const fs::path& file, const std::string& bytes) {
  std::ofstream(file, std::ios::binary | std::ios::trunc) << bytes;
}

StoreroomSettings settings_in(const fs::path& folder) {
  StoreroomSettings settings = room_settings(folder);
  settings.marker = folder / "marker";
  return settings;
}

constexpr int kJars = 4;
constexpr int kDays = 3;

// Three days of a cellar with four jars. What came in the last hour is in the inbox alone.
void live(Storeroom& room) {
  for (int jar = 1; jar <= kJars; ++jar) {
    feed(room, tell("new jar F-0" + std::to_string(jar) +
                        " in cellar/shelf-1 stage IMO-2 rice 1200 g raw 660 g sugar 1250 g closed "
                        "2025-07-01",
                    minutes(0)));
  }
  for (int at = 0; at < kDays * 1440; at += 10) {
    feed(room, reading("s1", minutes(at), at % 1440 < 60 ? 29.0 : 20.0, 60.0));
    feed(room, reading("s2", minutes(at), 19.0, 62.0));
    if (at % 720 == 0) {
      feed(room, tell("open F-0" + std::to_string(1 + at / 720 % kJars), minutes(at)));
    }
    if (at % 360 == 0 && at < kDays * 1440 - 60) REQUIRE(room.commit());
  }
}

struct Known {
  std::vector<JournalEntry> journal;
  std::size_t jars = 0, alerts = 0, readings = 0;
  bool fault = false;
  bool operator==(const Known&) const = default;
};

// As a command sees it.
Known known_of(const StoreroomSettings& settings) {
  const auto reader = Reader::open(settings.history, settings.spool);
  REQUIRE(reader);
  Known known;
  known.journal = (*reader)->journal();
  const auto ledger = ledger_of(**reader);
  known.jars = ledger ? ledger->jars().size() : 0;
  known.alerts = (*reader)->alerts(false).size();
  for (const std::string& sensor : (*reader)->known_sensors()) {
    for (const Quantity quantity : {Quantity::temperature, Quantity::humidity}) {
      auto cursor = (*reader)->readings(sensor, quantity, instant_of(0), minutes(100'000));
      while (cursor->next()) ++known.readings;
    }
  }
  known.fault = (*reader)->fault().has_value();
  return known;
}

// A life that ended cleanly, and one that kill -9 ended. Made once.
struct Lives {
  TempFolder scratch;
  fs::path closed = scratch.path() / "closed", killed = scratch.path() / "killed";
  Known known;

  Lives() {
    const StoreroomSettings settings = settings_in(closed);
    fs::create_directories(closed);
    {
      const auto room = open_room(settings);
      live(*room);
      REQUIRE(room->commit());
      REQUIRE(make_small_copy(settings.history, "cellar", "2025-07-15", {},
                              copies_folder(settings.history)));
      // The last words are in the inbox.
      feed(*room, tell("open F-01", minutes(kDays * 1440)));
      feed(*room, reading("s1", minutes(kDays * 1440), 20.5, 60.0));
      feed(*room, LinkRecord{minutes(kDays * 1440), true});
      feed(*room, reading("s2", minutes(kDays * 1440 + 1), 19.5, 60.0));
      fs::copy(closed, killed, fs::copy_options::recursive);
    }
    known = known_of(settings);
    REQUIRE(known.jars == kJars);
    REQUIRE_FALSE(known.fault);
  }
};

const Lives& lives() {
  static const Lives kLives;
  return kLives;
}

struct Damage {
  std::string name;
  bool killed = false;  // of the killed life: with its log
  std::function<void(const StoreroomSettings&)> act;
  bool worst = false;
};

std::vector<fs::path> segments_of(const StoreroomSettings& settings) {
  std::vector<fs::path> files;
  const auto places = list_segments(inbox_folder(settings.history), {});
  REQUIRE(places);
  for (const auto& place : *places) {
    files.push_back(place.path);
  }
  return files;
}

void change(const fs::path& file, const std::function<void(std::string&)>& edit) {
  std::string bytes = bytes_of(file);
  REQUIRE_FALSE(bytes.empty());
  edit(bytes);
  put_bytes(file, bytes);
}

// Pages by what they are: of the tree of each table its root, first and last leaf; free ones.
std::map<std::string, std::size_t> kinds_of_pages(const fs::path& file) {
  std::map<std::string, std::size_t> pages;
  const auto database = Database::open(file, OpenMode::immutable);
  REQUIRE(database);
  const auto trees =
      (*database)->prepare("SELECT name, rootpage FROM sqlite_schema WHERE rootpage > 0");
  const std::string bytes = bytes_of(file);
  const auto u32 = [&](std::size_t at) {
    std::size_t number = 0;
    for (std::size_t i = 0; i < 4; ++i)
      number = number << 8 | static_cast<unsigned char>(bytes[at + i]);
    return number;
  };
  while (trees->step().value()) {
    const auto root = static_cast<std::size_t>(trees->integer(1));
    pages[trees->text(0) + ", root"] = root;
    std::size_t last = root;
    while (bytes[(last - 1) * kPage] == 5 || bytes[(last - 1) * kPage] == 2) {
      last = u32((last - 1) * kPage + 8);
    }
    if (last != root) pages[trees->text(0) + ", last leaf"] = last;
  }
  pages["page 1"] = 1;
  if (const std::size_t trunk = u32(32); trunk != 0) pages["free"] = trunk;
  return pages;
}

std::vector<Damage> all_damage() {
  std::vector<Damage> all;
  const auto history = [](const std::function<void(std::string&)>& edit) {
    return [edit](const StoreroomSettings& settings) { change(settings.history, edit); };
  };
  const std::set<std::string> worst_pages = {"page 1", "journal, root", "sensor, root",
                                             "snapshot, root"};
  const fs::path file = settings_in(lives().closed).history;
  for (const auto& [what, page] : kinds_of_pages(file)) {
    const std::size_t at = (page - 1) * kPage;
    all.push_back({what + " zeroed", false,
                   history([at](std::string& bytes) { bytes.replace(at, kPage, kPage, '\0'); }),
                   worst_pages.contains(what)});
    all.push_back({what + " overwritten", false,
                   history([at](std::string& bytes) { bytes.replace(at, kPage, kPage, 'U'); })});
    all.push_back({what + ", a bit of its head", false, history([at](std::string& bytes) {
                     const std::size_t head = at == 0 ? 103 : at + 3;
                     bytes[head] = static_cast<char>(bytes[head] ^ 0x20);
                   })});
  }
  for (const int percent : {95, 50, 10}) {
    all.push_back({"cut to " + std::to_string(percent) + " %", false,
                   [percent](const StoreroomSettings& settings) {
                     fs::resize_file(settings.history, fs::file_size(settings.history) *
                                                           static_cast<unsigned>(percent) / 100);
                   },
                   percent == 95});
  }
  all.push_back({"missing", false,
                 [](const StoreroomSettings& settings) {
                   for (const char* beside : {"", "-wal", "-shm"}) {
                     fs::remove(settings.history.string() + beside);
                   }
                 },
                 true});
  all.push_back({"empty", false, [](const StoreroomSettings& settings) {
                   fs::remove(settings.history.string() + "-wal");
                   put_bytes(settings.history, "");
                 }});
  all.push_back({"a text in its place", false,
                 [](const StoreroomSettings& settings) { put_bytes(settings.history, "hello"); }});
  all.push_back({"a journal entry's JSON", false, history([](std::string& bytes) {
                   const auto at = bytes.rfind("\"open\"");
                   REQUIRE(at != std::string::npos);
                   bytes[at] = '%';
                 }),
                 true});
  all.push_back({"a figure in a journal entry", false, history([](std::string& bytes) {
                   const auto at = bytes.find("rice 1200 g raw");
                   REQUIRE(at != std::string::npos);
                   bytes[at + 5] = '9';
                 })});
  all.push_back({"the number of the schema", false, history([](std::string& bytes) {
                   bytes[63] = static_cast<char>(bytes[63] ^ 4);
                 })});
  all.push_back({"whose file it is", false, history([](std::string& bytes) {
                   bytes[70] = static_cast<char>(bytes[70] ^ 1);
                 })});
  const auto log = [](const std::function<void(std::string&)>& edit) {
    return [edit](const StoreroomSettings& settings) {
      change(settings.history.string() + "-wal", edit);
    };
  };
  all.push_back({"a bit in the middle of the log", true, log([](std::string& bytes) {
                   const std::size_t at = bytes.size() / 2;
                   bytes[at] = static_cast<char>(bytes[at] ^ 1);
                 }),
                 true});
  all.push_back({"the log's header", true, log([](std::string& bytes) { bytes[9] ^= 1; })});
  all.push_back({"the log cut in half", true, [](const StoreroomSettings& settings) {
                   const std::string log_file = settings.history.string() + "-wal";
                   fs::resize_file(log_file, fs::file_size(log_file) / 2);
                 }});
  all.push_back({"the log gone", true,
                 [](const StoreroomSettings& settings) {
                   fs::remove(settings.history.string() + "-wal");
                   fs::remove(settings.history.string() + "-shm");
                 },
                 true});
  all.push_back({"page 1, with a log", true,
                 history([](std::string& bytes) { bytes.replace(0, kPage, kPage, '\0'); })});
  const auto last_segment = [](const std::function<void(std::string&)>& edit) {
    return
        [edit](const StoreroomSettings& settings) { change(segments_of(settings).back(), edit); };
  };
  all.push_back({"garbage at the inbox's end", true, last_segment([](std::string& bytes) {
                   bytes.replace(bytes.size() - 200, 200, 200, 'U');
                 }),
                 true});
  all.push_back({"a segment of garbage", true,
                 last_segment([](std::string& bytes) { bytes.assign(bytes.size(), 'U'); })});
  all.push_back({"a segment of zeros", true,
                 last_segment([](std::string& bytes) { bytes.assign(bytes.size(), '\0'); })});
  all.push_back({"zeros at the inbox's end", true, last_segment([](std::string& bytes) {
                   bytes.replace(bytes.size() - 150, 150, 150, '\0');
                 })});
  all.push_back({"a bit in the last record", true, last_segment([](std::string& bytes) {
                   bytes[bytes.size() - 60] = static_cast<char>(bytes[bytes.size() - 60] ^ 8);
                 }),
                 true});
  all.push_back({"two bytes in the last record", true, last_segment([](std::string& bytes) {
                   bytes.replace(bytes.size() - 60, 2, "UU");
                 })});
  all.push_back({"two bytes of a tell", true, last_segment([](std::string& bytes) {
                   const auto at = bytes.rfind("open F-01");
                   REQUIRE(at != std::string::npos);
                   bytes.replace(at, 2, "UU");
                 })});
  all.push_back(
      {"the segment's header", true, last_segment([](std::string& bytes) { bytes[2] ^= 1; })});
  all.push_back({"the last segment gone", true, [](const StoreroomSettings& settings) {
                   // What the history's last commit does not know is lost with it; here nothing
                   // stands behind it to tell.
                   put_bytes(segments_of(settings).back(), "TORPOR");
                 }});
  return all;
}

// Whether a segment was cut where a kill may cut it: nothing in the world tells that it held more.
bool looks_like_a_kill(const Damage& damage) { return damage.name == "the last segment gone"; }

void check(const Damage& damage) {
  CAPTURE(damage.name);
  const TempFolder scratch;
  const fs::path folder = scratch.path() / "room";
  fs::copy(damage.killed ? lives().killed : lives().closed, folder, fs::copy_options::recursive);
  const StoreroomSettings settings = settings_in(folder);
  damage.act(settings);

  std::string told;
  {
    std::string notices;
    const auto collect = [&](Storeroom& from) {
      for (const OutboxMessage& message : from.take_outgoing()) {
        if (message.topic != "torpor/cellar/notice") continue;
        notices += message.payload + "\n";
        if (message.payload.starts_with("Today: torpor in cellar: "))
          told += message.payload + "\n";
      }
    };
    const Instant wall = minutes(kDays * 1440 + 2);
    auto opened = Storeroom::open(settings, wall);
    if (!opened) FAIL(opened.error().text);
    // As the service does with a history that cannot be written for its damage.
    const auto commit = [&] {
      auto committed = (*opened)->commit();
      if (committed) return;
      REQUIRE(committed.error().kind == ErrorKind::corrupt);
      collect(**opened);
      StoreroomSettings anew = settings;
      anew.found_damage = committed.error().text;
      opened->reset();
      opened = Storeroom::open(anew, wall);
      if (!opened) FAIL(opened.error().text);
      committed = (*opened)->commit();
      if (!committed) FAIL(committed.error().text);
    };
    commit();
    // Watched: ten minutes of heat are an alert.
    for (int minute = 2; minute < 20; ++minute) {
      feed(**opened, reading("s1", minutes(kDays * 1440 + minute), 35.0, 60.0));
    }
    commit();
    Storeroom& room = **opened;
    collect(room);
    CHECK(notices.find("above 27 °C") != std::string::npos);
    if (room.history_fault()) told += room.history_fault()->text + "\n";
    CHECK((told.empty() || room.history_fault() || !room.trouble().empty()));
    // Nothing is told twice at one start.
    CHECK(std::ranges::count(told, '\n') <= 2);
    if (!room.stands_in()) {
      IntegrityCheck integrity(settings.history,
                               [&told](const Error& error) { told += error.text; });
      integrity.finish();
    }
  }
  CAPTURE(told);
  const Known after = known_of(settings);
  // 18 minutes of two readings came since.
  Known expected = lives().known;
  const auto entries_kept = std::ranges::all_of(expected.journal, [&](const JournalEntry& entry) {
    return std::ranges::find(after.journal, entry) != after.journal.end();
  });
  const bool all_there = entries_kept && after.jars == expected.jars &&
                         after.alerts >= expected.alerts &&
                         after.readings >= expected.readings + 36;
  CHECK((all_there || !told.empty() || looks_like_a_kill(damage)));
  // The jars are the last to be lost: the nightly copy knows them, too.
  CHECK(after.jars == kJars);
  if (told.find("away") == std::string::npos) {
    // At the next start there is nothing to tell any more.
    auto again = Storeroom::open(settings, minutes(kDays * 1440 + 30));
    REQUIRE(again);
    CAPTURE((*again)->trouble());
    CHECK((*again)->trouble().empty());
  }
}

}  // namespace

TEST_CASE(
    "whatever is damaged, the room is watched, the keeper told, and nothing lost in silence") {
  std::size_t cases = 0;
  for (const Damage& damage : all_damage()) {
    if (!long_run() && !damage.worst) continue;
    check(damage);
    ++cases;
  }
  MESSAGE(cases, " kinds of damage");
  CHECK(cases >= (long_run() ? 46 : 10));
}

TEST_CASE(
    "what comes while the history is away is there when it is back, and so is all of before") {
  const TempFolder scratch;
  const fs::path folder = scratch.path() / "room";
  fs::copy(lives().killed, folder, fs::copy_options::recursive);
  const StoreroomSettings settings = settings_in(folder);
  const fs::path pulled = scratch.path() / "pulled";
  fs::create_directory(pulled);
  for (const char* beside : {"", "-wal", "-shm"}) {
    fs::rename(settings.history.string() + beside, pulled / ("h" + std::string(beside)));
  }
  for (int start = 0; start < 2; ++start) {  // also over a restart meanwhile
    const auto room = open_room(settings);
    CHECK(room->stands_in());
    REQUIRE(room->commit());
    const int from = kDays * 1440 + 10 + 100 * start;
    for (int minute = from; minute < from + 100; ++minute) {
      feed(*room, reading("s1", minutes(minute), 21.0, 60.0));
    }
    feed(*room, tell("open F-03", minutes(from + 100)));
    REQUIRE(room->commit());
    CHECK(known_of(settings).jars == kJars);
  }
  for (const char* beside : {"", "-wal", "-shm"}) {
    fs::rename(pulled / ("h" + std::string(beside)), settings.history.string() + beside);
  }
  {
    const auto room = open_room(settings);
    CHECK_FALSE(room->stands_in());
    CHECK(room->trouble().empty());
    REQUIRE(room->commit());
  }
  const Known after = known_of(settings);
  CHECK(after.readings == lives().known.readings + 400);
  // And the last word of before, which was in the inbox.
  CHECK(after.journal.size() == lives().known.journal.size() + 3);
  CHECK_FALSE(after.fault);
}

TEST_CASE("a damaged entry is put right from the nightly copy, and told once") {
  const TempFolder scratch;
  const fs::path folder = scratch.path() / "room";
  fs::copy(lives().closed, folder, fs::copy_options::recursive);
  const StoreroomSettings settings = settings_in(folder);
  change(settings.history, [](std::string& bytes) {
    const auto at = bytes.find("rice 1200 g raw");
    REQUIRE(at != std::string::npos);
    bytes[at + 5] = '9';
  });
  {
    const auto room = open_room(settings);
    CHECK(room->trouble().find("put right from the copy of 2025-07-15") != std::string::npos);
    REQUIRE(room->commit());
  }
  std::vector<JournalEntry> journal = known_of(settings).journal;
  REQUIRE_FALSE(journal.empty());
  CHECK(journal.back().sentence == "open F-01");  // the inbox had that
  journal.pop_back();
  CHECK(journal == lives().known.journal);
  CHECK(open_room(settings)->trouble().empty());
}

TEST_CASE(
    "without a copy a changed entry is named, and a broken one is left out, by all commands") {
  const TempFolder scratch;
  const fs::path folder = scratch.path() / "room";
  fs::copy(lives().closed, folder, fs::copy_options::recursive);
  const StoreroomSettings settings = settings_in(folder);
  fs::remove_all(copies_folder(settings.history));
  change(settings.history, [](std::string& bytes) {
    const auto figure = bytes.find("rice 1200 g raw");
    bytes[figure + 5] = '9';
    const auto json = bytes.rfind("\"open\"");
    bytes[json] = '%';
  });
  {
    const auto room = open_room(settings);
    CHECK(room->trouble().find("The disk has changed journal entries: ") != std::string::npos);
    CHECK(room->trouble().find("(“new jar F-0") != std::string::npos);
    CHECK(room->trouble().find("can no longer be read are left out: ") != std::string::npos);
    REQUIRE(room->commit());
  }
  CHECK(known_of(settings).jars == kJars);  // the others still count
  const auto room = open_room(settings);
  CHECK(room->trouble().empty());
  // Numbers go on.
  feed(*room, tell("open F-02", minutes(kDays * 1440 + 5)));
  REQUIRE(room->commit());
  CHECK(known_of(settings).journal.back().number > lives().known.journal.back().number);
}

TEST_CASE("with the rules' state lost, alerts begin with a number that was never used") {
  const TempFolder scratch;
  const fs::path folder = scratch.path() / "room";
  fs::copy(lives().closed, folder, fs::copy_options::recursive);
  const StoreroomSettings settings = settings_in(folder);
  std::uint64_t highest = 0;
  {
    const auto database = Database::open(settings.history, OpenMode::create);
    REQUIRE(database);
    REQUIRE(
        (*database)->execute("UPDATE snapshot SET bytes = CAST(bytes || 'x' AS BLOB); "
                             "UPDATE alert SET open = 1"));
    highest =
        static_cast<std::uint64_t>((*database)->integer("SELECT max(number) FROM alert").value());
    REQUIRE(highest > 0);
  }
  const auto room = open_room(settings);
  CHECK(room->trouble().find("How far the rules were is damaged") != std::string::npos);
  for (int minute = 2; minute < 20; ++minute) {
    feed(*room, reading("s1", minutes(kDays * 1440 + minute), 35.0, 60.0));
  }
  REQUIRE(room->commit());
  const auto alerts = Reader::open(settings.history, settings.spool).value()->alerts(true);
  REQUIRE_FALSE(alerts.empty());
  for (const StoredAlert& alert : alerts) CHECK(alert.number > highest);
}
