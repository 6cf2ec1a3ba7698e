#include "daemon/service/import_server.h"

#include <doctest/doctest.h>
#include <fmt/format.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <unistd.h>

#include <atomic>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <limits>
#include <memory>
#include <thread>
#include <vector>

#include "daemon/history/little_endian.h"
#include "tests/daemon/link/child_process.h"
#include "tests/daemon/temp_folder.h"

using namespace std::chrono_literals;
using namespace torpor;
using namespace torpor::daemon;
using torpor::testing::wait_until;

namespace {

Instant real_now() {
  return std::chrono::floor<std::chrono::milliseconds>(std::chrono::system_clock::now());
}

std::string with_length(const std::string& frame) {
  std::string all;
  put_number(all, static_cast<std::uint32_t>(frame.size()));
  return all + frame;
}

std::string reading_frame(Instant measured) {
  Reading reading;
  reading.sensor = "s1";
  reading.quantity = Quantity::temperature;
  reading.unit = Unit::celsius;
  reading.raw = 20;
  reading.measured_at = measured;
  // Whatever the importer says of the arrival: the service dates it itself.
  reading.received_at = instant_of(std::numeric_limits<std::int64_t>::max());
  return encode_import(
      ReadingsRecord{instant_of(std::numeric_limits<std::int64_t>::max()), {reading}, 0, false});
}

// A server on a strand of its own thread; what it takes is counted.
class Serving {
 public:
  explicit Serving(const ImportLimits& limits) {
    auto listening = ImportServer::listen(
        strand_, path(), real_now,
        [this](std::vector<InboxPayload> payloads) {
          if (const auto* record = std::get_if<ReadingsRecord>(&payloads.front())) {
            last_received_ = record->received_at;
            ++taken_;
          }
          return encode_import_reply(ImportTotals{1, 0, 0});
        },
        limits);
    REQUIRE(listening);
    server_ = std::move(*listening);
    thread_ = std::thread([this] { strand_.run(); });
  }
  ~Serving() {
    strand_.stop();
    thread_.join();
    server_.reset();
  }
  Serving(const Serving&) = delete;
  Serving& operator=(const Serving&) = delete;

  [[nodiscard]] std::string path() const { return folder_.text() + "/socket"; }
  [[nodiscard]] int taken() const { return taken_; }
  [[nodiscard]] Instant last_received() const { return last_received_; }

 private:
  tests::TempFolder folder_;
  boost::asio::io_context strand_{1};
  std::atomic<int> taken_{0};
  std::atomic<Instant> last_received_{};
  std::unique_ptr<ImportServer> server_;
  std::thread thread_;
};

// One end of the socket, without asio. Reads give up after 5 s.
class Caller {
 public:
  explicit Caller(const Serving& serving)
      : socket_(::socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    std::strncpy(address.sun_path, serving.path().c_str(), sizeof address.sun_path - 1);
    const timeval patience{5, 0};
    ::setsockopt(socket_, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience);
    REQUIRE(::connect(socket_, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0);
  }
  ~Caller() { ::close(socket_); }
  Caller(const Caller&) = delete;
  Caller& operator=(const Caller&) = delete;

  void say(const std::string& bytes) const {
    (void)::send(socket_, bytes.data(), bytes.size(), MSG_NOSIGNAL);  // closed: hear() says so
  }
  // A reply's frame; "closed" when the other side has gone.
  [[nodiscard]] std::string hear() const {
    std::string length = read(sizeof(std::uint32_t));
    if (length.size() < sizeof(std::uint32_t)) return "closed";
    return read(number_at<std::uint32_t>(length, 0));
  }

 private:
  [[nodiscard]] std::string read(std::size_t wanted) const {
    std::string bytes(wanted, '\0');
    std::size_t got = 0;
    while (got < wanted) {
      const ssize_t more = ::recv(socket_, bytes.data() + got, wanted - got, 0);
      if (more <= 0) break;
      got += static_cast<std::size_t>(more);
    }
    bytes.resize(got);
    return bytes;
  }

  const int socket_;
};

}  // namespace

TEST_CASE("the service's user may import, and what comes is dated by the service's clock") {
  const Serving serving({});
  const Caller importer(serving);
  const Instant before = real_now();
  importer.say(with_length(reading_frame(real_now() - 1h)));
  const auto reply = decode_import_reply(importer.hear());
  REQUIRE(reply);
  CHECK(reply->fresh == 1);
  CHECK(serving.last_received() >= before);
  CHECK(serving.last_received() <= real_now());
}

TEST_CASE("whoever is neither the service's user nor root is refused with a sentence") {
  ImportLimits limits;
  limits.owner = ::geteuid() + 1;
  if (::geteuid() == 0) {
    // Root may always; a child that is somebody else calls.
    limits.owner = 0;
  }
  const Serving serving(limits);
  std::string reply;
  if (::geteuid() != 0) {
    const Caller reader(serving);
    reader.say(with_length(reading_frame(real_now())));
    reply = reader.hear();
  } else {
    REQUIRE(::chmod(std::filesystem::path(serving.path()).parent_path().c_str(), 0755) == 0);
    REQUIRE(::chmod(serving.path().c_str(), 0666) == 0);
    int ends[2];
    REQUIRE(::pipe(ends) == 0);
    const pid_t child = ::fork();
    if (child == 0) {
      if (::setuid(65534) != 0) ::_exit(1);
      const Caller reader(serving);
      reader.say(with_length(reading_frame(real_now())));
      const std::string heard = reader.hear();
      (void)!::write(ends[1], heard.data(), heard.size());
      ::_exit(0);
    }
    ::close(ends[1]);
    char buffer[512];
    for (ssize_t got = 0; (got = ::read(ends[0], buffer, sizeof buffer)) > 0;) {
      reply.append(buffer, static_cast<std::size_t>(got));
    }
    ::close(ends[0]);
    int status = 0;
    REQUIRE(::waitpid(child, &status, 0) == child);
  }
  CHECK(reply ==
        "\1only root and the user that torpord runs as may add to the history; run it with sudo");
  CHECK(serving.taken() == 0);
}

TEST_CASE("a batch whose times cannot be is refused whole, with the time and what to do") {
  const Instant now = instant_of(1'752'451'200'000);
  struct Row {
    Instant measured;
    const char* dated;  // nullptr: taken
  };
  const Row rows[] = {
      {now + 5min, nullptr},
      {now + 5min + 1ms, "2025-07-14T00:05:00.001Z"},
      {now + std::chrono::hours(24 * 3653), "2035-07-15T00:00:00Z"},
      {instant_of(std::numeric_limits<std::int64_t>::max()), "9223372036854775807 ms after 1970"},
      {instant_of(std::numeric_limits<std::int64_t>::min()), "-9223372036854775808 ms after 1970"},
      {instant_of(946'684'800'000), nullptr},
      {instant_of(946'684'799'999), "1999-12-31T23:59:59.999Z"},
  };
  for (const Row& row : rows) {
    const auto record = decode_import(reading_frame(row.measured), now);
    if (row.dated == nullptr) {
      REQUIRE(record);
      CHECK(std::get<ReadingsRecord>(*record).readings.front().received_at == now);
      continue;
    }
    REQUIRE_FALSE(record);
    CHECK(record.error().text ==
          fmt::format("a reading of s1 is dated {}; expected a time from 2000 to now "
                      "(2025-07-14T00:00:00Z) and 5 min: set the clock that dated it, and this "
                      "computer's",
                      row.dated));
  }
}

TEST_CASE("a sentence over the socket is dated by the service, and has its limit") {
  const Instant now = instant_of(1'752'451'200'000);
  TellRecord tell{
      instant_of(std::numeric_limits<std::int64_t>::max()), "ask jars", "", "t", "c", false};
  const auto record = decode_import(encode_import(tell), now);
  REQUIRE(record);
  CHECK(std::get<TellRecord>(*record).received_at == now);
  tell.sentence.assign(1025, 'x');
  CHECK_FALSE(decode_import(encode_import(tell), now));
}

TEST_CASE("half-sent frames end after their time and keep nobody out for longer") {
  ImportLimits limits;
  limits.connections = 2;
  limits.frame_time = 300ms;
  const Serving serving(limits);
  std::string half;
  put_number(half, static_cast<std::uint32_t>(kLongestImportFrame));
  half += "x";
  std::vector<std::unique_ptr<Caller>> stuck;
  for (int i = 0; i < 2; ++i) {
    stuck.push_back(std::make_unique<Caller>(serving));
    stuck.back()->say(half);
  }
  {
    const Caller third(serving);
    CHECK(third.hear() == "\0012 imports are running already; try again when one is done");
  }
  for (const auto& caller : stuck) CHECK(caller->hear() == "closed");
  CHECK(wait_until([&] {
    const Caller importer(serving);
    importer.say(with_length(reading_frame(real_now())));
    return importer.hear().front() == '\0';
  }));
}

TEST_CASE("300 half-sent frames take no more memory than those that are served") {
  const Serving serving({});
  const auto resident = [] {
    std::ifstream pages("/proc/self/statm");
    std::size_t all = 0, held = 0;
    pages >> all >> held;
    return held * static_cast<std::size_t>(::sysconf(_SC_PAGESIZE));
  };
  std::string half;
  put_number(half, static_cast<std::uint32_t>(kLongestImportFrame));
  const std::size_t before = resident();
  std::vector<std::unique_ptr<Caller>> stuck;
  for (int i = 0; i < 300; ++i) {
    stuck.push_back(std::make_unique<Caller>(serving));
    stuck.back()->say(half + "x");
  }
  // All have been looked at: the last one was closed without a word or refused.
  CHECK(stuck.back()->hear().front() != '\0');
  const std::size_t grown = resident() - std::min(before, resident());
  MESSAGE("300 half-sent frames: " << grown / 1024 << " KiB more");
  CHECK(grown < std::size_t{16} * 1024 * 1024);
}

TEST_CASE("a frame longer than any that is sent ends the connection") {
  const Serving serving({});
  const Caller caller(serving);
  std::string head;
  put_number(head, static_cast<std::uint32_t>(kLongestImportFrame + 1));
  caller.say(head);
  CHECK(caller.hear() == "closed");
}
