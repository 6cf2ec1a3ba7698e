#include "daemon/history/inbox.h"

#include <doctest/doctest.h>

#include <thread>

#include "daemon/history/inbox_segment.h"
#include "samples.h"
#include "test_files.h"

namespace torpor::daemon {
namespace {

using Numbers = std::vector<std::uint64_t>;

void append_ticks(Inbox& inbox, int count) {
  for (int i = 0; i < count; ++i) must(inbox.append(tick(i)));
}

TEST_CASE("records come back in order, as they were, numbered from one") {
  const TempFolder scratch;
  const auto inbox = open_inbox(scratch / "inbox");
  std::uint64_t next = 1;
  for (const InboxPayload& payload : one_of_each()) {
    const auto appended = must(inbox->append(payload));
    CHECK(appended.sequence == next++);
    CHECK(appended.kept == Kept::disk);
  }
  const auto records = inbox->read_after(0);
  REQUIRE(records.size() == one_of_each().size());
  for (std::size_t i = 0; i < records.size(); ++i) CHECK(records[i].payload == one_of_each()[i]);
  CHECK(numbers_of(records) == Numbers{1, 2, 3, 4, 5, 6, 7, 8});
  CHECK(inbox->last_sequence() == 8);
  CHECK(inbox->damaged() == 0);
  CHECK_FALSE(inbox->disk_fault());
}

TEST_CASE("reading goes on from any number, again and again") {
  const TempFolder scratch;
  const auto inbox = open_inbox(scratch / "inbox");
  append_ticks(*inbox, 3);
  CHECK(numbers_of(inbox->read_after(0)) == Numbers{1, 2, 3});
  CHECK(inbox->read_after(3).empty());
  append_ticks(*inbox, 2);
  CHECK(numbers_of(inbox->read_after(3)) == Numbers{4, 5});
  CHECK(numbers_of(inbox->read_after(4)) == Numbers{5});
  CHECK(numbers_of(inbox->read_after(1)) == Numbers{2, 3, 4, 5});
}

TEST_CASE("numbering continues after a restart, above what is on disk and what is folded") {
  const TempFolder scratch;
  append_ticks(*open_inbox(scratch / "inbox"), 3);
  const auto again = open_inbox(scratch / "inbox", 2);
  CHECK(must(again->append(tick(0))).sequence == 4);
  CHECK(numbers_of(again->read_after(0)) == Numbers{1, 2, 3, 4});

  const auto fresh = open_inbox(scratch / "other", 41);
  CHECK(must(fresh->append(tick(0))).sequence == 42);
}

TEST_CASE("a full segment is followed by another, and folded ones are removed") {
  const TempFolder scratch;
  InboxOptions options;
  options.folder = scratch / "inbox";
  options.segment_bytes = 200;
  const auto inbox = must(Inbox::open(options, 0));
  append_ticks(*inbox, 50);
  const auto files = files_in(options.folder);
  REQUIRE(files.size() > 5);
  for (const auto& file : files) CHECK(std::filesystem::file_size(file) <= 200 + 25);

  const auto second = first_sequence_named(files[1].filename().string()).value();
  inbox->drop_through(second - 2);
  CHECK(files_in(options.folder).size() == files.size());
  inbox->drop_through(second - 1);
  CHECK(files_in(options.folder).size() == files.size() - 1);
  CHECK(inbox->read_after(0).front().sequence == second);
  CHECK(inbox->read_after(0).back().sequence == 50);

  inbox->drop_through(50);
  CHECK(files_in(options.folder).size() <= 1);
  CHECK(must(inbox->append(tick(0))).sequence == 51);
  CHECK(numbers_of(inbox->read_after(50)) == Numbers{51});
}

TEST_CASE("the inbox stays small while it is folded as it grows") {
  const TempFolder scratch;
  const auto inbox = open_inbox(scratch / "inbox");
  std::uintmax_t largest = 0;
  for (int i = 0; i < 20000; ++i) {
    const auto sequence = must(inbox->append(tick(i))).sequence;
    if (i % 10 == 0) inbox->drop_through(sequence);
    std::uintmax_t bytes = 0;
    if (i % 100 == 0) {
      for (const auto& file : files_in(scratch / "inbox"))
        bytes += std::filesystem::file_size(file);
    }
    largest = std::max(largest, bytes);
  }
  CHECK(largest > 0);
  CHECK(largest < 80 * 1024);
}

TEST_CASE("a number is never given twice, also when all was folded and removed") {
  const TempFolder scratch;
  {
    const auto inbox = open_inbox(scratch / "inbox");
    append_ticks(*inbox, 5);
    inbox->drop_through(5);
  }
  CHECK(must(open_inbox(scratch / "inbox", 5)->append(tick(0))).sequence == 6);
}

TEST_CASE("threads append at once: every number once, every record once, in order") {
  const TempFolder scratch;
  const auto inbox = open_inbox(scratch / "inbox");
  constexpr int kThreads = 4;
  constexpr int kEach = 500;
  std::vector<std::vector<std::uint64_t>> got(kThreads);
  std::vector<std::thread> threads;
  for (int t = 0; t < kThreads; ++t) {
    threads.emplace_back([&, t] {
      for (int i = 0; i < kEach; ++i) {
        const auto appended = inbox->append(LinkRecord{instant_of(t * kEach + i), true});
        if (appended) got[static_cast<std::size_t>(t)].push_back(appended->sequence);
      }
    });
  }
  // The strand reads and drops meanwhile.
  std::uint64_t seen = 0;
  std::vector<Instant> read;
  while (seen < kThreads * kEach) {
    for (const InboxRecord& record : inbox->read_after(seen)) {
      REQUIRE(record.sequence == seen + 1);
      seen = record.sequence;
      read.push_back(std::get<LinkRecord>(record.payload).at);
    }
    inbox->drop_through(seen);
  }
  for (std::thread& thread : threads) thread.join();
  Numbers all;
  for (const auto& numbers : got) {
    CHECK(std::is_sorted(numbers.begin(), numbers.end()));
    all.insert(all.end(), numbers.begin(), numbers.end());
  }
  std::sort(all.begin(), all.end());
  REQUIRE(all.size() == kThreads * kEach);
  CHECK(all.front() == 1);
  CHECK(all.back() == kThreads * kEach);
  std::sort(read.begin(), read.end());
  CHECK(std::adjacent_find(read.begin(), read.end()) == read.end());
  CHECK(inbox->damaged() == 0);
}

TEST_CASE("a record of the largest size is taken, one byte more is refused and uses no number") {
  const TempFolder scratch;
  const auto inbox = open_inbox(scratch / "inbox");
  const std::size_t fixed = 9 + 8 + 1 + 4 * 4;  // a tell of empty texts
  TellRecord tell{kEvening, std::string(kLargestRecordBody - fixed, 'x'), "", "", "", false};
  CHECK(must(inbox->append(tell)).sequence == 1);
  tell.sentence += 'x';
  const auto refused = inbox->append(tell);
  REQUIRE_FALSE(refused);
  CHECK(refused.error().kind == ErrorKind::invalid);
  CHECK(refused.error().text ==
        "a message of 4194313 bytes is too large for the inbox, which takes up to 4194304; send it "
        "in parts");
  CHECK(must(inbox->append(tick(0))).sequence == 2);
  CHECK(numbers_of(inbox->read_after(0)) == Numbers{1, 2});
}

TEST_CASE("with power-cut the records are the same") {
  const TempFolder scratch;
  InboxOptions options;
  options.folder = scratch / "deep/inbox";
  options.power_cut = true;
  append_ticks(*must(Inbox::open(options, 0)), 3);
  CHECK(numbers_of(open_inbox(options.folder)->read_after(0)) == Numbers{1, 2, 3});
}

TEST_CASE("another process peeks without changing anything") {
  const TempFolder scratch;
  const auto inbox = open_inbox(scratch / "inbox");
  append_ticks(*inbox, 5);
  const auto file = files_in(scratch / "inbox").at(0);
  const std::string before = file_bytes(file);
  CHECK(numbers_of(peek_inbox(scratch / "inbox", {}, 0)) == Numbers{1, 2, 3, 4, 5});
  CHECK(numbers_of(peek_inbox(scratch / "inbox", scratch / "spool", 3)) == Numbers{4, 5});
  CHECK(peek_inbox(scratch / "inbox", {}, 5).empty());
  CHECK(peek_inbox(scratch / "absent", {}, 0).empty());
  CHECK(file_bytes(file) == before);

  write_bytes(file, before.substr(0, before.size() - 1));
  CHECK(numbers_of(peek_inbox(scratch / "inbox", {}, 0)) == Numbers{1, 2, 3, 4});
  CHECK(file_bytes(file).size() == before.size() - 1);
}

TEST_CASE("other files in the inbox's folder are left alone") {
  const TempFolder scratch;
  append_ticks(*open_inbox(scratch / "inbox"), 1);
  write_bytes((scratch / "inbox") / "README", "mine");
  write_bytes((scratch / "inbox") / "0000000000000000000x.inbox", "mine");
  const auto inbox = open_inbox(scratch / "inbox");
  CHECK(numbers_of(inbox->read_after(0)) == Numbers{1});
  inbox->drop_through(1);
  CHECK(file_bytes((scratch / "inbox") / "README") == "mine");
  CHECK(file_bytes((scratch / "inbox") / "0000000000000000000x.inbox") == "mine");
}

TEST_CASE("a folder that cannot be made is an error that names it") {
  const TempFolder scratch;
  write_bytes(scratch / "file", "");
  InboxOptions options;
  options.folder = scratch / "file" / "inbox";
  const auto inbox = Inbox::open(options, 0);
  REQUIRE_FALSE(inbox);
  CHECK(inbox.error().text ==
        "cannot make the folder " + options.folder.string() + ": Not a directory");
}

}  // namespace
}  // namespace torpor::daemon
