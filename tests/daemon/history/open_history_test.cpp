// A history that was there must be there: what becomes of one that is not.
#include "daemon/history/open_history.h"

#include <doctest/doctest.h>

#include "daemon/history/history_marker.h"
#include "daemon/history/inbox_segment.h"
#include "daemon/history/small_copy.h"
#include "samples.h"
#include "test_files.h"

namespace torpor::daemon {
namespace {

namespace fs = std::filesystem;

HistoryPlace place_in(const TempFolder& scratch) {
  return {
      (scratch / "stick") / "h", scratch / "spool", (scratch / "state") / "marker", {}, "cellar"};
}

JournalEntry journal_entry(std::uint64_t number) {
  return {number, kEvening, kEvening, "Anna", "open B-07", "{}"};
}

// A history with an entry, as the service leaves it.
void make_history(const HistoryPlace& place, bool copy) {
  const auto opened = must(open_history(place, kEvening));
  must(opened.store->put_journal(journal_entry(1)));
  must(opened.store->put_snapshot(7, "state"));
  if (copy) {
    must(make_small_copy(place.file, "cellar", "2026-03-01", {{"torpor.yaml", "storeroom: cellar"}},
                         copies_folder(place.file)));
  }
}

TEST_CASE("a first start in an empty place is silent, and leaves two marks of the history") {
  const TempFolder scratch;
  const HistoryPlace place = place_in(scratch);
  const auto opened = must(open_history(place, kEvening));
  CHECK(opened.trouble.empty());
  CHECK(opened.begun);
  CHECK_FALSE(opened.stands_in);
  const auto identity = opened.store->note(kIdentityNote);
  REQUIRE(identity);
  CHECK(read_marker(place.marker) == identity);
  CHECK(read_marker(marker_in(inbox_folder(place.file))) == identity);
  CHECK_FALSE(trouble_at(place));
}

TEST_CASE("a history of before there were identities gets one, and nothing is said") {
  const TempFolder scratch;
  const HistoryPlace place = place_in(scratch);
  must(must(Store::open(place.file))->put_journal(journal_entry(1)));
  const auto opened = must(open_history(place, kEvening));
  CHECK(opened.trouble.empty());
  CHECK_FALSE(opened.begun);
  CHECK(read_marker(place.marker) == opened.store->note(kIdentityNote));
}

TEST_CASE("a history that is missing, empty or another one is stood in for by its last copy") {
  struct Row {
    const char* what;
    const char* said;
  };
  for (const Row row : {Row{"missing", " is missing"}, Row{"empty", " is empty"},
                        Row{"other", " is another history than the one that was here"}}) {
    CAPTURE(row.what);
    const TempFolder scratch;
    const HistoryPlace place = place_in(scratch);
    make_history(place, true);
    for (const char* beside : {"", "-wal", "-shm"}) fs::remove(place.file.string() + beside);
    if (std::string_view(row.what) == "empty") write_bytes(place.file, "");
    if (std::string_view(row.what) == "other") {
      must(must(Store::open(place.file))->put_note(kIdentityNote, std::string(32, 'a')));
    }
    const std::string before = fs::exists(place.file) ? file_bytes(place.file) : "none";
    const auto trouble = trouble_at(place);
    REQUIRE(trouble);
    CHECK(trouble->away);
    CHECK(trouble->text.find(row.said) != std::string::npos);
    {
      const auto opened = must(open_history(place, kEvening));
      CHECK(opened.stands_in);
      CHECK(opened.trouble.find(row.said) != std::string::npos);
      CHECK(opened.trouble.find("the copy of 2026-03-01") != std::string::npos);
      CHECK(opened.trouble.find("torpord --new-history") != std::string::npos);
      CHECK(opened.store->journal() == std::vector{journal_entry(1)});
      CHECK(opened.store->snapshot().sequence == 7);
      CHECK(opened.inbox == inbox_folder(place.file));
      // Nobody else may write into the same inbox meanwhile.
      CHECK(open_history(place, kEvening).error().kind == ErrorKind::busy);
    }
    CHECK((fs::exists(place.file) ? file_bytes(place.file) : "none") == before);
    HistoryPlace import = place;
    import.may_stand_in = false;
    CHECK_FALSE(open_history(import, kEvening));
  }
}

TEST_CASE("readers see what stands in, until the history is opened again") {
  const TempFolder scratch;
  const HistoryPlace place = place_in(scratch);
  make_history(place, true);
  fs::rename(place.file, scratch / "h");
  {
    const auto opened = must(open_history(place, kEvening));
    must(opened.store->put_journal(journal_entry(2)));
    must(opened.store->put_note(kTroubleNote, opened.trouble));
    const auto reader = must(Reader::open(place.file, place.spool));
    CHECK(reader->journal().size() == 2);
    CHECK(trouble_at(place)->text == opened.trouble);
    CHECK_FALSE(trouble_at(place)->away);
    CHECK_FALSE(is_back(place));
    fs::rename(scratch / "h", place.file);
    CHECK(is_back(place));
  }
  const auto opened = must(open_history(place, kEvening));
  CHECK_FALSE(opened.stands_in);
  CHECK(opened.trouble.empty());
  CHECK(must(Reader::open(place.file, place.spool))->journal().size() == 1);
}

TEST_CASE("while a stick is not mounted nothing is put where it belongs") {
  const TempFolder scratch;
  const HistoryPlace place = place_in(scratch);
  make_history(place, false);
  fs::rename(scratch / "stick", scratch / "pulled");
  fs::create_directory(scratch / "stick");
  {
    const auto opened = must(open_history(place, kEvening));
    CHECK(opened.stands_in);
    CHECK(opened.trouble.find("is its disk mounted?") != std::string::npos);
    CHECK(opened.inbox == stand_in_inbox(place.marker));
    InboxOptions options;
    options.folder = opened.inbox;
    must(must(Inbox::open(options, 0))->append(tick(1)));
  }
  CHECK_FALSE(fs::exists(place.file));
  CHECK_FALSE(fs::exists(inbox_folder(place.file)));
  fs::remove_all(scratch / "stick");
  fs::rename(scratch / "pulled", scratch / "stick");
  const auto opened = must(open_history(place, kEvening));
  CHECK_FALSE(opened.stands_in);
  // What came meanwhile is to be taken over.
  REQUIRE(opened.other_inboxes.size() == 1);
  CHECK(peek_inbox(opened.other_inboxes.front(), {}, 0).size() == 1);
}

TEST_CASE("an inbox whose first records are gone tells of a history that nothing else knows of") {
  const TempFolder scratch;
  const HistoryPlace place = place_in(scratch);
  fs::create_directories(inbox_folder(place.file));
  EncodedRecord record(tick(1));
  record.set_sequence(117);
  write_bytes(inbox_folder(place.file) / segment_name(117), segment_header() + record.bytes());
  CHECK(must(open_history(place, kEvening)).stands_in);
}

TEST_CASE("a history is begun anew only when somebody says so, and the old one is kept") {
  const TempFolder scratch;
  const HistoryPlace place = place_in(scratch);
  make_history(place, false);
  fs::remove(place.file);
  CHECK(must(open_history(place, kEvening)).stands_in);
  CHECK(must(begin_new_history(place, kEvening)).empty());
  {
    const auto opened = must(open_history(place, kEvening));
    CHECK_FALSE(opened.stands_in);
    CHECK(opened.trouble.empty());
    must(opened.store->put_journal(journal_entry(1)));
    CHECK(begin_new_history(place, kEvening).error().kind == ErrorKind::busy);
  }
  const fs::path kept = must(begin_new_history(place, kEvening));
  CHECK(kept == real_history(place.file).string() + ".set-aside-20260302T183000");
  CHECK(must(Store::open(kept))->journal().size() == 1);
  CHECK(must(open_history(place, kEvening)).store->journal().empty());
}

// A folder in the place of the lock stands for a disk that refuses, also to root.
TEST_CASE("a place that cannot be written is stood in for by what can be read there") {
  const TempFolder scratch;
  const HistoryPlace place = place_in(scratch);
  make_history(place, false);
  fs::remove(lock_file(place.file));
  fs::create_directory(lock_file(place.file));
  {
    const auto opened = must(open_history(place, kEvening));
    CHECK(opened.stands_in);
    CHECK(opened.trouble.find("cannot be written") != std::string::npos);
    CHECK(opened.trouble.find("with all that it holds") != std::string::npos);
    CHECK(opened.inbox == inbox_folder(place.file));
    CHECK(opened.store->journal().size() == 1);
    CHECK(opened.store->snapshot().bytes == "state");
    CHECK_FALSE(is_back(place));
  }
  fs::remove(lock_file(place.file));
  CHECK(is_back(place));
  CHECK_FALSE(must(open_history(place, kEvening)).stands_in);
}

TEST_CASE(
    "a history that turned out damaged while it was written is replaced, though it can be read") {
  const TempFolder scratch;
  HistoryPlace place = place_in(scratch);
  make_history(place, false);
  place.found_damage = place.file.string() + ": database disk image is malformed";
  const auto opened = must(open_history(place, kEvening));
  CHECK(opened.trouble.find("The history was damaged (database disk image is malformed)") == 0);
  CHECK(opened.trouble.find("Nothing is lost.") != std::string::npos);
  CHECK(opened.store->journal().size() == 1);
  CHECK(opened.store->snapshot().bytes == "state");
}

TEST_CASE("a history has one lock and one inbox, whatever name it goes by") {
  const TempFolder scratch;
  const HistoryPlace place = place_in(scratch);
  make_history(place, false);
  fs::create_directory_symlink(scratch / "stick", scratch / "linked");
  fs::create_symlink(place.file, scratch / "link");
  fs::create_symlink("link", scratch / "link-to-link");
  for (const fs::path& name :
       {(scratch / "linked") / "h", scratch / "link", scratch / "link-to-link"}) {
    CAPTURE(name.string());
    CHECK(inbox_folder(name) == inbox_folder(place.file));
    CHECK(socket_file(name) == socket_file(place.file));
    const auto opened = must(open_history(place, kEvening));
    HistoryPlace other = place;
    other.file = name;
    CHECK(open_history(other, kEvening).error().kind == ErrorKind::busy);
  }
  // A link to what is not there names the same place.
  fs::remove(place.file);
  CHECK(lock_file(scratch / "link") == lock_file(place.file));
}

TEST_CASE("an inbox of the time when each name had its own is taken over") {
  const TempFolder scratch;
  HistoryPlace place = place_in(scratch);
  make_history(place, false);
  fs::create_symlink(place.file, scratch / "link");
  {
    const auto by_name = open_inbox((scratch / "link").string() + ".inbox", 7);
    must(by_name->append(tick(1)));
  }
  place.file = scratch / "link";
  const auto opened = must(open_history(place, kEvening));
  REQUIRE(opened.other_inboxes.size() == 2);
  CHECK(opened.other_inboxes.back() == (scratch / "link").string() + ".inbox");
}

TEST_CASE("a marker that is damaged is no marker") {
  const TempFolder scratch;
  const std::string identity = new_identity();
  must(write_marker(scratch / "m", identity, "/h"));
  CHECK(read_marker(scratch / "m") == identity);
  CHECK(file_bytes(scratch / "m") == "torpor history\nidentity " + identity + "\nfile /h\n");
  for (std::size_t at = 0; at < 24 + 32; ++at) {
    std::string bytes = file_bytes(scratch / "m");
    bytes[at] = '\x01';
    write_bytes(scratch / "damaged", bytes);
    CHECK_FALSE(read_marker(scratch / "damaged"));
  }
  CHECK_FALSE(read_marker(scratch / "nowhere"));
  CHECK(new_identity() != identity);
}

}  // namespace
}  // namespace torpor::daemon
