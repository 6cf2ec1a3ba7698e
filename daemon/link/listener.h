// What `torpor listen` hears: a connection of its own, with its own client id and no session, that
// takes what arrives on a topic or wildcard and hands it over one by one. It keeps nothing.
#pragma once

#include <chrono>
#include <condition_variable>
#include <deque>
#include <memory>
#include <mutex>
#include <optional>
#include <string>

#include <tl/expected.hpp>

#include "daemon/link/link.h"
#include "sensors/reading.h"

namespace torpor::daemon {

class Connection;

struct HeardMessage {
  std::string topic;
  std::string payload;
  bool retained = false;  // the broker had kept it: nobody says it now
  Instant received_at;    // wall clock
};

class Listener {
 public:
  // Waits until subscribed, at most `patience`. Errors as of tell(): not_reached, refused, invalid.
  [[nodiscard]] static tl::expected<std::unique_ptr<Listener>, Error> open(
      const BrokerAccess& access, const std::string& filter, std::chrono::milliseconds patience);
  ~Listener();
  Listener(const Listener&) = delete;
  Listener& operator=(const Listener&) = delete;

  // The next message; nullopt: none within the patience. Error: the connection was lost.
  [[nodiscard]] tl::expected<std::optional<HeardMessage>, Error> next(
      std::chrono::milliseconds patience);
  // Messages that came faster than they were taken and were let go.
  [[nodiscard]] std::size_t missed();

 private:
  Listener() = default;
  void take(const IncomingMessage& message);
  void state(bool connected, const std::string& reason);

  std::mutex mutex_;
  std::condition_variable changed_;
  std::optional<bool> connected_;
  std::string reason_;
  std::deque<HeardMessage> waiting_;
  std::size_t missed_ = 0;
  std::unique_ptr<Connection> connection_;  // last: no handler runs once it is gone
};

}  // namespace torpor::daemon
