// Any bytes as what a browser, or whoever poses as one, sends to the pages: an answer in HTTP or a
// closed connection, and the server goes on.
#include <arpa/inet.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <csignal>
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>

#include "daemon/service/load_settings.h"
#include "daemon/web/web_server.h"
#include "tests/daemon/report/small_cellar.h"
#include "tests/fuzz/checks.h"

namespace torpor::fuzz {
namespace {

constexpr int kPatienceMs = 5000;

// libFuzzer sets an alarm, which would break off a call on a socket; patience has an end here
// anyway.
class WithoutAlarm {
 public:
  WithoutAlarm() {
    sigset_t alarm;
    sigemptyset(&alarm);
    sigaddset(&alarm, SIGALRM);
    ::pthread_sigmask(SIG_BLOCK, &alarm, &before_);
  }
  ~WithoutAlarm() { ::pthread_sigmask(SIG_SETMASK, &before_, nullptr); }
  WithoutAlarm(const WithoutAlarm&) = delete;
  WithoutAlarm& operator=(const WithoutAlarm&) = delete;

 private:
  sigset_t before_{};
};

class Cellar {
 public:
  Cellar() {
    cellar_.fill();
    const auto loaded = daemon::load_settings(cellar_.config());
    require(loaded.has_value(), "the small cellar's configuration is good");
    const auto zone = daemon::LocalTime::in_zone("UTC");
    require(zone.has_value(), "the time zone data of the system is installed");
    daemon::WebLimits limits;
    limits.wrong_token_pause = std::chrono::milliseconds(0);
    auto started = daemon::WebServer::start(
        "127.0.0.1", 0, {"", "a token"}, {loaded->settings, *zone, cellar_.history(), {}}, limits);
    require(started.has_value(), "the server starts");
    server_ = std::move(*started);
  }

  // Everything it answers to these bytes and the end of them.
  [[nodiscard]] std::string answer_to(std::string_view bytes) const {
    const WithoutAlarm undisturbed;
    const int client = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_port = htons(static_cast<std::uint16_t>(server_->port()));
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    require(::connect(client, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0,
            "the server still takes connections");
    while (!bytes.empty()) {
      const ssize_t sent = ::send(client, bytes.data(), bytes.size(), MSG_NOSIGNAL);
      if (sent <= 0) break;  // it has heard enough
      bytes.remove_prefix(static_cast<std::size_t>(sent));
    }
    ::shutdown(client, SHUT_WR);
    std::string answer;
    std::array<char, 65536> part{};
    pollfd waiting{client, POLLIN, 0};
    for (;;) {
      require(::poll(&waiting, 1, kPatienceMs) == 1, "the server answers or closes");
      const ssize_t size = ::recv(client, part.data(), part.size(), 0);
      if (size <= 0) break;
      answer.append(part.data(), static_cast<std::size_t>(size));
    }
    ::close(client);
    return answer;
  }

 private:
  tests::SmallCellar cellar_;
  std::unique_ptr<daemon::WebServer> server_;
};

}  // namespace
}  // namespace torpor::fuzz

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace torpor::fuzz;
  static const Cellar cellar;
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  const std::string answer = cellar.answer_to(bytes);
  require(answer.empty() || answer.starts_with("HTTP/1."), "what comes back is HTTP");
  require(answer.find("history.sqlite3") == std::string::npos, "no answer names a file");
  return 0;
}
