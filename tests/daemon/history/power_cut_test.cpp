// With `survives: power-cut` a promise is on the disk before it is given, and every commit is. No
// power is cut here: the calls that make it true are counted, ours and SQLite's, by standing in for
// them.
#include <doctest/doctest.h>
#include <sys/syscall.h>
#include <unistd.h>

#include <atomic>
#include <cerrno>
#include <functional>

#include "daemon/history/inbox.h"
#include "daemon/history/store.h"
#include "samples.h"
#include "test_files.h"

namespace {
std::atomic<int> file_syncs = 0;
std::atomic<bool> syncs_fail = false;

int synced(long call, int fd) {
  ++file_syncs;
  if (syncs_fail) {
    errno = EIO;
    return -1;
  }
  return static_cast<int>(::syscall(call, fd));
}
}  // namespace

// Found by the dynamic linker before the C library's.
extern "C" int fdatasync(int fd) { return synced(SYS_fdatasync, fd); }
extern "C" int fsync(int fd) { return synced(SYS_fsync, fd); }

namespace torpor::daemon {
namespace {

int syncs_of(const std::function<void()>& work) {
  const int before = file_syncs;
  work();
  return file_syncs - before;
}

std::unique_ptr<Inbox> inbox_that_survives(const std::filesystem::path& folder, bool power_cut) {
  InboxOptions options;
  options.folder = folder;
  options.power_cut = power_cut;
  return must(Inbox::open(options, 0));
}

TEST_CASE("each append is synced, a new file's name too") {
  const TempFolder scratch;
  const auto inbox = inbox_that_survives(scratch / "inbox", true);
  const auto append = [&] { must(inbox->append(tick(1))); };
  CHECK(syncs_of(append) == 2);
  CHECK(syncs_of(append) == 1);
  CHECK(syncs_of(append) == 1);
}

TEST_CASE("for a crash nothing is synced: the kernel has the bytes") {
  const TempFolder scratch;
  const auto inbox = inbox_that_survives(scratch / "inbox", false);
  CHECK(syncs_of([&] {
          for (int i = 0; i < 100; ++i) must(inbox->append(tick(i)));
        }) == 0);
}

// Whatever is to survive: what the inbox drops after a commit is on the disk.
TEST_CASE("each commit of the history is synced") {
  const TempFolder scratch;
  const auto store = must(Store::open(scratch / "h"));
  must(store->put_note("first", "the log's header is written with it"));
  const int syncs = syncs_of([&] {
    for (int i = 0; i < 5; ++i) must(store->put_note("n", std::to_string(i)));
  });
  CHECK(syncs == 5);
}

// What the kernel could not write it says to the next who syncs, and forgets (fsync(2), EIO).
TEST_CASE("a disk that failed to write says so with the commit, which can be made again") {
  const TempFolder scratch;
  const auto store = must(Store::open(scratch / "h"));
  must(store->put_note("first", "the log's header is written with it"));
  must(store->begin());
  must(store->put_note("n", "1"));
  syncs_fail = true;
  const auto committed = store->commit();
  syncs_fail = false;
  REQUIRE_FALSE(committed);
  CHECK(committed.error().kind == ErrorKind::io);
  must(store->begin());
  must(store->put_note("n", "2"));
  must(store->commit());
  CHECK(store->note("n") == "2");
}

}  // namespace
}  // namespace torpor::daemon
