// What the service manager hears, over the socket of sd_notify(3): ready once readings are taken,
// fed while the engine goes on, and not while it is stuck.
#include <doctest/doctest.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <array>
#include <cstring>
#include <stdexcept>

#include "tests/system/room.h"

namespace torpor::testing {
namespace {

// The manager's end.
class Listener {
 public:
  explicit Listener(const std::string& path)
      : fd_(::socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0)) {
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    if (path.size() >= sizeof(address.sun_path)) throw std::runtime_error("path too long");
    std::memcpy(address.sun_path, path.data(), path.size());
    if (::bind(fd_, reinterpret_cast<const sockaddr*>(&address), sizeof(address)) != 0) {
      throw std::runtime_error("cannot bind");
    }
  }
  ~Listener() { ::close(fd_); }
  Listener(const Listener&) = delete;
  Listener& operator=(const Listener&) = delete;

  // Takes in what has come; how often `line` was said by now.
  [[nodiscard]] int heard(const std::string& line) {
    std::array<char, 4096> bytes{};
    for (;;) {
      const ssize_t size = ::recv(fd_, bytes.data(), bytes.size(), MSG_DONTWAIT);
      if (size <= 0) break;
      said_ += "\n" + std::string(bytes.data(), static_cast<std::size_t>(size)) + "\n";
    }
    int count = 0;
    const std::string wanted = "\n" + line;
    for (auto at = said_.find(wanted); at != std::string::npos; at = said_.find(wanted, at + 1)) {
      ++count;
    }
    return count;
  }

 private:
  int fd_;
  std::string said_;
};

RoomOptions managed(const tests::TempFolder& folder, const char* patience_us) {
  RoomOptions options;
  options.rules = kWarmRule;
  options.environment = {{"NOTIFY_SOCKET", folder.text() + "/notify"},
                         {"WATCHDOG_USEC", patience_us}};
  return options;
}

TEST_CASE("the service manager hears of readiness when readings are taken, and of the end") {
  const tests::TempFolder folder;
  Listener manager(folder.text() + "/notify");
  RoomOptions options = managed(folder, "60000000");
  options.broker_runs = false;
  Room room(options);
  room.start_unconnected();
  REQUIRE(wait_until([&] { return manager.heard("STATUS=Waiting for the broker") > 0; }));
  CHECK(manager.heard("READY=1") == 0);
  room.broker().start();
  CHECK(wait_until([&] { return manager.heard("READY=1") == 1; }));
  CHECK(manager.heard("STOPPING=1") == 0);
  CHECK(room.stop().code == 0);
  CHECK(manager.heard("STOPPING=1") == 1);
}

TEST_CASE("an engine that is stuck feeds the watchdog no more, and one that goes on does") {
  if (!Room::can_be_unkind()) return;
  const tests::TempFolder folder;
  Listener manager(folder.text() + "/notify");
  RoomOptions options = managed(folder, "300000");  // fed every 0.1 s
  options.unkind = true;
  Room room(options);
  room.start();
  const auto fed_again = [&](int before) { return manager.heard("WATCHDOG=1") > before + 2; };
  REQUIRE(wait_until([&] { return fed_again(0); }));
  room.make_stuck(true);
  // A warm quarter of an hour is an alert, which is committed at once: the engine's thread waits
  // for the disk.
  for (int minute = 0; minute <= 15; ++minute) {
    room.say_json(kFirst + std::chrono::minutes(minute), 30.0, 60.0);
  }
  int fed = 0;
  const bool stands_still = wait_until([&] {
    fed = manager.heard("WATCHDOG=1");
    return !wait_until([&] { return manager.heard("WATCHDOG=1") > fed; },
                       std::chrono::milliseconds(1000));
  });
  CHECK(stands_still);
  room.make_stuck(false);
  CHECK(wait_until([&] { return fed_again(fed); }));
  CHECK(room.stop().code == 0);
}

}  // namespace
}  // namespace torpor::testing
