// A process that is killed while it appends at full speed has lost nothing that append() returned.
#include <doctest/doctest.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <map>

#include "daemon/history/inbox.h"
#include "samples.h"
#include "test_files.h"

namespace torpor::daemon {
namespace {

// What the child tells after each append(): its own counter and the number it got.
struct Promise {
  std::uint64_t counter = 0;
  std::uint64_t sequence = 0;
};
constexpr std::size_t kPromisesPerRound = 2000;

// Appends for ever, dropping nothing; rotates often, so that the kill also falls on new files.
[[noreturn]] void append_until_killed(const std::filesystem::path& folder, std::uint64_t counter,
                                      int pipe) {
  InboxOptions options;
  options.folder = folder;
  options.segment_bytes = 4096;
  const auto inbox = Inbox::open(options, 0);
  while (inbox) {
    const auto appended =
        (*inbox)->append(LinkRecord{instant_of(static_cast<std::int64_t>(++counter)), true});
    if (!appended) break;
    const Promise promise{counter, appended->sequence};
    if (::write(pipe, &promise, sizeof promise) != sizeof promise) break;
  }
  ::_exit(1);
}

std::vector<Promise> run_and_kill(const std::filesystem::path& folder, std::uint64_t counter,
                                  std::size_t kill_after) {
  int ends[2] = {};
  REQUIRE(::pipe(ends) == 0);
  const pid_t child = ::fork();
  REQUIRE(child >= 0);
  if (child == 0) append_until_killed(folder, counter, ends[1]);
  ::close(ends[1]);
  std::vector<Promise> promises;
  Promise promise;
  while (::read(ends[0], &promise, sizeof promise) == sizeof promise) {
    promises.push_back(promise);
    if (promises.size() == kill_after) ::kill(child, SIGKILL);
  }
  ::close(ends[0]);
  int status = 0;
  ::waitpid(child, &status, 0);
  CHECK(WIFSIGNALED(status));
  return promises;
}

TEST_CASE("after kill -9 every record that was reported is there, once, under its number") {
  const TempFolder scratch;
  const auto folder = scratch / "inbox";
  std::map<std::uint64_t, std::uint64_t> promised;  // number -> counter
  std::uint64_t counter = 0;
  for (std::size_t round = 0; round < 20; ++round) {
    const std::size_t kill_after = kPromisesPerRound / 20 * (round + 1);
    const auto promises = run_and_kill(folder, counter, kill_after);
    REQUIRE(promises.size() >= kill_after);
    for (const Promise& promise : promises) {
      CHECK(promised.emplace(promise.sequence, promise.counter).second);
    }
    counter = promises.back().counter;
  }
  const auto inbox = open_inbox(folder);
  CHECK(inbox->damaged() == 0);
  std::map<std::uint64_t, std::uint64_t> found;
  for (const InboxRecord& record : inbox->read_after(0)) {
    const auto at = static_cast<std::uint64_t>(unix_ms(std::get<LinkRecord>(record.payload).at));
    CHECK(found.emplace(record.sequence, at).second);
  }
  for (const auto& [sequence, value] : promised) {
    const auto it = found.find(sequence);
    REQUIRE(it != found.end());
    REQUIRE(it->second == value);
  }
  // At most the one record per kill that was written but not yet reported.
  CHECK(found.size() <= promised.size() + 20);
}

}  // namespace
}  // namespace torpor::daemon
