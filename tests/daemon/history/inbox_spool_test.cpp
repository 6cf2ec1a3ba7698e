// What happens when the history's disk does not take records: a file-size limit stands for a full
// disk in the middle of a record, a file in place of the folder for one that fails altogether, and
// where mounting is allowed, a tiny file system for the real thing.
#include <doctest/doctest.h>
#include <sched.h>
#include <signal.h>
#include <sys/mount.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <thread>

#include "daemon/history/inbox.h"
#include "daemon/history/inbox_segment.h"
#include "samples.h"
#include "test_files.h"

namespace torpor::daemon {
namespace {

using Numbers = std::vector<std::uint64_t>;

// No file of this process grows beyond `bytes` while it lives: a write that crosses the limit is
// short, one beyond it fails.
class FileSizeLimit {
 public:
  explicit FileSizeLimit(rlim_t bytes) : old_handler_(::signal(SIGXFSZ, SIG_IGN)) {
    ::getrlimit(RLIMIT_FSIZE, &old_limit_);
    const rlimit limit{bytes, old_limit_.rlim_max};
    ::setrlimit(RLIMIT_FSIZE, &limit);
  }
  ~FileSizeLimit() {
    ::setrlimit(RLIMIT_FSIZE, &old_limit_);
    ::signal(SIGXFSZ, old_handler_);
  }
  FileSizeLimit(const FileSizeLimit&) = delete;
  FileSizeLimit& operator=(const FileSizeLimit&) = delete;

 private:
  rlimit old_limit_{};
  sighandler_t old_handler_;
};

// The inbox's folder is gone and cannot be made again, until repaired.
class BrokenFolder {
 public:
  explicit BrokenFolder(std::filesystem::path folder) : folder_(std::move(folder)) {
    aside_ = folder_;
    aside_ += ".aside";
    std::filesystem::rename(folder_, aside_);
    write_bytes(folder_, "");
  }
  void repair() {
    std::filesystem::remove(folder_);
    std::filesystem::rename(aside_, folder_);
  }

 private:
  std::filesystem::path folder_, aside_;
};

constexpr Duration kRetry = std::chrono::milliseconds(200);
void wait_for_disk_retry() { std::this_thread::sleep_for(kRetry); }

InboxOptions options_in(const TempFolder& scratch) {
  InboxOptions options;
  options.folder = scratch / "inbox";
  options.spool = scratch / "spool";
  // Each record in a file of its own, so that a broken folder is met at once.
  options.segment_bytes = 1;
  options.disk_retry = kRetry;
  return options;
}

TEST_CASE("a record that does not fit is taken back whole and stands in the spool") {
  const TempFolder scratch;
  InboxOptions options = options_in(scratch);
  options.segment_bytes = 1u << 20;
  const auto inbox = must(Inbox::open(options, 0));
  for (int i = 0; i < 3; ++i) must(inbox->append(tick(i)));
  const auto file = files_in(options.folder).at(0);
  const auto whole = std::filesystem::file_size(file);
  {
    const FileSizeLimit limit(static_cast<rlim_t>(whole + 10));
    const auto appended = must(inbox->append(tick(9)));
    CHECK(appended.kept == Kept::spool);
  }
  CHECK(std::filesystem::file_size(file) == whole);
  REQUIRE(inbox->disk_fault());
  CHECK(inbox->disk_fault()->kind == ErrorKind::disk_full);
  CHECK(inbox->disk_fault()->text == "cannot write " + file.string() +
                                         ": No space left on device; free some space on that disk");
  CHECK(numbers_of(inbox->read_after(0)) == Numbers{1, 2, 3, 4});
}

TEST_CASE("every size of a short write leaves the file as it was") {
  for (rlim_t room = 0; room < 25; ++room) {
    const TempFolder scratch;
    const auto inbox = open_inbox(scratch / "inbox");
    must(inbox->append(tick(1)));
    const auto file = files_in(scratch / "inbox").at(0);
    const std::string before = file_bytes(file);
    {
      const FileSizeLimit limit(before.size() + room);
      const auto appended = inbox->append(tick(2));
      REQUIRE_FALSE(appended);
      CHECK(appended.error().kind == ErrorKind::disk_full);
    }
    CHECK(file_bytes(file) == before);
    CHECK(numbers_of(inbox->read_after(0)) == Numbers{1});
  }
}

TEST_CASE("without a spool a failure is an error, and the number is not used up") {
  const TempFolder scratch;
  InboxOptions options = options_in(scratch);
  options.spool.clear();
  const auto inbox = must(Inbox::open(options, 0));
  must(inbox->append(tick(1)));
  BrokenFolder broken(options.folder);
  CHECK_FALSE(inbox->append(tick(2)));
  CHECK(inbox->last_sequence() == 1);
  broken.repair();
  wait_for_disk_retry();
  CHECK(must(inbox->append(tick(3))).sequence == 2);
}

TEST_CASE("records go to the spool and come back to the disk by themselves, in one order") {
  const TempFolder scratch;
  const InboxOptions options = options_in(scratch);
  auto inbox = must(Inbox::open(options, 0));
  CHECK(must(inbox->append(tick(1))).kept == Kept::disk);
  BrokenFolder broken(options.folder);
  CHECK(must(inbox->append(tick(2))).kept == Kept::spool);
  CHECK(must(inbox->append(tick(3))).kept == Kept::spool);
  CHECK(inbox->disk_fault());
  broken.repair();
  // So soon after the failure the disk is not tried again.
  CHECK(must(inbox->append(tick(4))).kept == Kept::spool);
  wait_for_disk_retry();
  CHECK(must(inbox->append(tick(5))).kept == Kept::disk);
  CHECK_FALSE(inbox->disk_fault());
  CHECK(must(inbox->append(tick(6))).kept == Kept::disk);

  std::vector<InboxRecord> expected(6);
  for (int i = 0; i < 6; ++i) {
    expected[static_cast<std::size_t>(i)].sequence = static_cast<std::uint64_t>(i + 1);
    expected[static_cast<std::size_t>(i)].payload = tick(i + 1);
  }
  CHECK(inbox->read_after(0) == expected);
  CHECK(peek_inbox(options.folder, options.spool, 0) == expected);
  inbox = must(Inbox::open(options, 0));
  CHECK(inbox->read_after(0) == expected);
  CHECK(inbox->last_sequence() == 6);

  inbox->drop_through(4);
  CHECK(files_in(options.spool).empty());
  CHECK(numbers_of(inbox->read_after(0)) == Numbers{5, 6});
}

TEST_CASE("a retry that fails keeps the spool going") {
  const TempFolder scratch;
  const InboxOptions options = options_in(scratch);
  const auto inbox = must(Inbox::open(options, 0));
  const BrokenFolder broken([&] {
    must(inbox->append(tick(1)));
    return options.folder;
  }());
  must(inbox->append(tick(2)));
  wait_for_disk_retry();
  CHECK(must(inbox->append(tick(3))).kept == Kept::spool);
  CHECK(must(inbox->append(tick(4))).sequence == 4);
  CHECK(numbers_of(peek_inbox(scratch / "none", options.spool, 0)) == Numbers{2, 3, 4});
}

TEST_CASE(
    "the spool says when it is nearly full, refuses when full, and takes again after a fold") {
  const TempFolder scratch;
  InboxOptions options = options_in(scratch);
  options.segment_bytes = 1u << 20;
  options.spool_limit = 8 * (kSegmentHeaderBytes + 25 * 8);  // eight parts of eight ticks and more
  const auto inbox = must(Inbox::open(options, 0));
  std::filesystem::remove(options.folder);
  write_bytes(options.folder, "");

  std::uint64_t used = 0;
  std::uint64_t first_nearly_full = 0;
  while (true) {
    const auto appended = inbox->append(tick(1));
    used = 0;
    for (const auto& file : files_in(options.spool)) used += std::filesystem::file_size(file);
    CHECK(used <= options.spool_limit);
    if (!appended) {
      CHECK(appended.error().kind == ErrorKind::disk_full);
      CHECK(appended.error().text.find("and the spool " + options.spool.string() +
                                       " has no room for 25 more bytes (") != std::string::npos);
      break;
    }
    const bool nearly = used >= options.spool_limit / 8 * 7;
    CHECK(appended->kept == (nearly ? Kept::spool_nearly_full : Kept::spool));
    if (nearly && first_nearly_full == 0) first_nearly_full = appended->sequence;
  }
  CHECK(first_nearly_full > 0);
  const std::uint64_t last = inbox->last_sequence();
  CHECK_FALSE(inbox->append(tick(1)));
  CHECK(inbox->last_sequence() == last);
  CHECK(inbox->read_after(0).size() == last);

  inbox->drop_through(last / 2);
  const auto again = must(inbox->append(tick(1)));
  CHECK(again.sequence == last + 1);
  CHECK(again.kept == Kept::spool);
  CHECK(inbox->read_after(last).size() == 1);
}

TEST_CASE("a restart while the disk is well finds what the spool holds") {
  const TempFolder scratch;
  const InboxOptions options = options_in(scratch);
  {
    const auto inbox = must(Inbox::open(options, 0));
    must(inbox->append(tick(1)));
    BrokenFolder broken(options.folder);
    must(inbox->append(tick(2)));
    broken.repair();
  }
  const auto inbox = must(Inbox::open(options, 0));
  CHECK(numbers_of(inbox->read_after(0)) == Numbers{1, 2});
  CHECK(must(inbox->append(tick(3))).sequence == 3);
}

// In a child with mounts of its own: a file system of 64 KiB is filled by the inbox itself.
int fill_a_tiny_disk(const std::filesystem::path& mount_point, const std::filesystem::path& spool) {
  constexpr int kNotAllowed = 77;
  if (::unshare(CLONE_NEWNS) != 0) return kNotAllowed;
  if (::mount("none", "/", nullptr, MS_REC | MS_PRIVATE, nullptr) != 0) return kNotAllowed;
  if (::mount("tmpfs", mount_point.c_str(), "tmpfs", 0, "size=64k") != 0) return kNotAllowed;
  InboxOptions options;
  options.folder = mount_point / "inbox";
  options.spool = spool;
  options.disk_retry = kRetry;
  const auto inbox = Inbox::open(options, 0);
  if (!inbox) return 1;
  std::uint64_t on_disk = 0;
  for (int i = 0; i < 5000; ++i) {
    const auto appended = (*inbox)->append(tick(i));
    if (!appended) return 2;
    if (appended->kept == Kept::disk) ++on_disk;
  }
  if (on_disk == 0 || on_disk == 5000) return 3;
  if (!(*inbox)->disk_fault() || (*inbox)->disk_fault()->kind != ErrorKind::disk_full) return 4;
  if ((*inbox)->read_after(0).size() != 5000) return 5;
  (*inbox)->drop_through(5000);
  wait_for_disk_retry();
  const auto back = (*inbox)->append(tick(0));
  return back && back->kept == Kept::disk ? 0 : 6;
}

TEST_CASE("a disk that is really full is left and found again when there is room") {
  const TempFolder scratch;
  std::filesystem::create_directories(scratch / "disk");
  const pid_t child = ::fork();
  REQUIRE(child >= 0);
  if (child == 0) ::_exit(fill_a_tiny_disk(scratch / "disk", scratch / "spool"));
  int status = 0;
  ::waitpid(child, &status, 0);
  REQUIRE(WIFEXITED(status));
  if (WEXITSTATUS(status) == 77) {
    MESSAGE("skipped: this user may not mount a file system");
    return;
  }
  CHECK(WEXITSTATUS(status) == 0);
}

}  // namespace
}  // namespace torpor::daemon
