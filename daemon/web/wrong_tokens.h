// Wrong tokens, by the address that sent them: how long each is kept waiting for its answer, and
// what the log says, once a minute. Only wrong tokens ever come here, so a right one never waits.
// Knows no sockets and no clock.
#pragma once

#include <chrono>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>

namespace torpor::daemon {

class WrongTokens {
 public:
  using Time = std::chrono::steady_clock::time_point;

  // `shortest`: before the first wrong token of an address is answered; doubled up to `longest`
  // with each one that follows, and forgotten after a while without.
  explicit WrongTokens(std::chrono::milliseconds shortest,
                       std::chrono::milliseconds longest = std::chrono::seconds(30));

  // How long this one waits.
  [[nodiscard]] std::chrono::milliseconds note(std::string_view address, Time now);
  // A line for the log: at the first wrong token, then once a minute while they come.
  [[nodiscard]] std::optional<std::string> take_report(Time now);

 private:
  struct Sender {
    std::chrono::milliseconds pause;
    Time last;
    std::uint64_t unreported = 0;
  };
  Sender& sender(std::string_view address, Time now);

  const std::chrono::milliseconds shortest_, longest_;
  std::map<std::string, Sender, std::less<>> senders_;
  std::uint64_t unreported_ = 0;
  std::optional<Time> reported_;
};

}  // namespace torpor::daemon
