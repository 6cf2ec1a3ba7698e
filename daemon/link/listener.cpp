#include "daemon/link/listener.h"

#include <fmt/format.h>

#include <utility>

#include "daemon/link/connection.h"
#include "daemon/link/random_name.h"

namespace torpor::daemon {
namespace {

// Of a storm on '#': what a person can look at is far less.
constexpr std::size_t kMostWaiting = 10'000;

}  // namespace

tl::expected<std::unique_ptr<Listener>, Error> Listener::open(const BrokerAccess& access,
                                                              const std::string& filter,
                                                              std::chrono::milliseconds patience) {
  std::unique_ptr<Listener> listener(new Listener());
  ConnectionSettings wanted;
  wanted.access = access;
  wanted.client_id = "torpor-listen-" + random_name();
  wanted.filters = {filter};
  wanted.retain_handling = RetainHandling::send;
  auto connection = Connection::open(
      std::move(wanted),
      {[ears = listener.get()](const IncomingMessage& message) { ears->take(message); },
       [ears = listener.get()](bool connected, const std::string& reason) {
         ears->state(connected, reason);
       }});
  if (!connection) return tl::unexpected(connection.error());
  listener->connection_ = std::move(*connection);

  std::unique_lock lock(listener->mutex_);
  const bool answered =
      listener->changed_.wait_for(lock, patience, [&] { return listener->connected_.has_value(); });
  if (!answered) {
    return tl::unexpected(Error{ErrorKind::not_reached, "the broker did not answer in time"});
  }
  // Connected with a reason: the broker keeps the topic from us.
  if (*listener->connected_ && listener->reason_.empty()) {
    lock.unlock();
    return listener;
  }
  const bool refused = *listener->connected_ || listener->connection_->refused();
  Error error{refused ? ErrorKind::refused : ErrorKind::not_reached, listener->reason_};
  lock.unlock();
  return tl::unexpected(std::move(error));
}

Listener::~Listener() = default;

tl::expected<std::optional<HeardMessage>, Error> Listener::next(
    std::chrono::milliseconds patience) {
  std::unique_lock lock(mutex_);
  changed_.wait_for(lock, patience, [this] { return !waiting_.empty() || !*connected_; });
  if (!waiting_.empty()) {
    std::optional<HeardMessage> message(std::move(waiting_.front()));
    waiting_.pop_front();
    return message;
  }
  if (!*connected_) return tl::unexpected(Error{ErrorKind::not_reached, reason_});
  return std::nullopt;
}

std::size_t Listener::missed() {
  const std::lock_guard lock(mutex_);
  return missed_;
}

void Listener::take(const IncomingMessage& message) {
  const auto now = std::chrono::floor<Duration>(std::chrono::system_clock::now());
  const std::lock_guard lock(mutex_);
  if (waiting_.size() >= kMostWaiting) {
    ++missed_;
    return;
  }
  waiting_.push_back(
      {std::string(message.topic), std::string(message.payload), message.retained, now});
  changed_.notify_all();
}

void Listener::state(bool connected, const std::string& reason) {
  const std::lock_guard lock(mutex_);
  connected_ = connected;
  reason_ = reason;
  changed_.notify_all();
}

}  // namespace torpor::daemon
