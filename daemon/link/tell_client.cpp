#include "daemon/link/tell_client.h"

#include <algorithm>
#include <condition_variable>
#include <mutex>
#include <optional>

#include <fmt/format.h>

#include "daemon/link/connection.h"
#include "daemon/link/random_name.h"

namespace torpor::daemon {
namespace {

using Clock = std::chrono::steady_clock;

constexpr std::size_t kCorrelationBytes = 16;

std::string seconds_text(std::chrono::milliseconds time) {
  return fmt::format("{:.3g} s", std::chrono::duration<double>(time).count());
}

// What the handlers tell the waiting caller.
class Exchange {
 public:
  explicit Exchange(std::string correlation) : correlation_(std::move(correlation)) {}

  void take(const IncomingMessage& message) {
    if (message.correlation != correlation_) return;
    const std::lock_guard lock(mutex_);
    answer_ = std::string(message.payload);
    changed_.notify_all();
  }
  void state(bool connected, const std::string& reason) {
    const std::lock_guard lock(mutex_);
    connected_ = connected;
    reason_ = reason;
    changed_.notify_all();
  }

  // The first state, or nothing within the time: connected and its reason.
  std::optional<std::pair<bool, std::string>> wait_state(Clock::time_point deadline) {
    std::unique_lock lock(mutex_);
    if (!changed_.wait_until(lock, deadline, [this] { return connected_.has_value(); })) {
      return std::nullopt;
    }
    return std::pair(*connected_, reason_);
  }
  std::optional<std::string> wait_answer(Clock::time_point deadline) {
    std::unique_lock lock(mutex_);
    changed_.wait_until(lock, deadline, [this] { return answer_.has_value(); });
    return answer_;
  }

 private:
  const std::string correlation_;
  std::mutex mutex_;
  std::condition_variable changed_;
  std::optional<bool> connected_;
  std::string reason_;
  std::optional<std::string> answer_;
};

tl::unexpected<Error> failure(ErrorKind kind, std::string text) {
  return tl::unexpected(Error{kind, std::move(text)});
}

}  // namespace

tl::expected<std::string, Error> tell(const TellSettings& settings, const std::string& sentence) {
  const auto deadline = Clock::now() + settings.patience;
  const std::string name = random_name();
  const std::string correlation = random_bytes(kCorrelationBytes);
  const std::string answer_topic = topic_of(settings.storeroom, "answer/" + name);

  Exchange exchange(correlation);
  ConnectionSettings wanted;
  wanted.access = settings.access;
  wanted.client_id = "torpor-tell-" + name;
  wanted.filters = {answer_topic};
  const auto connection = Connection::open(
      std::move(wanted), {[&exchange](const IncomingMessage& message) { exchange.take(message); },
                          [&exchange](bool connected, const std::string& reason) {
                            exchange.state(connected, reason);
                          }});
  if (!connection) return tl::unexpected(connection.error());

  // A person waits: the first refusal is the answer, there is no second try.
  const auto state = exchange.wait_state(deadline);
  if (!state) {
    return failure(ErrorKind::not_reached, fmt::format("the broker did not answer within {}",
                                                       seconds_text(settings.patience)));
  }
  const auto& [connected, reason] = *state;
  if (!connected) {
    return failure((*connection)->refused() ? ErrorKind::refused : ErrorKind::not_reached, reason);
  }
  if (!reason.empty()) return failure(ErrorKind::refused, reason);

  Publication publication;
  publication.topic = topic_of(settings.storeroom, "tell");
  publication.payload = sentence;
  publication.response_topic = answer_topic;
  publication.correlation = correlation;
  if (!settings.by.empty()) publication.notes.emplace_back("by", settings.by);
  while (Clock::now() < deadline) {
    const auto left = std::chrono::ceil<std::chrono::milliseconds>(deadline - Clock::now());
    publication.expiry = std::chrono::ceil<std::chrono::seconds>(left);
    const auto turn = std::min(left, settings.repeat_after);
    const auto turn_ends = Clock::now() + turn;
    const DeliveryReport report = (*connection)->publish(publication, turn);
    if (report.outcome == Delivery::refused) {
      return failure(ErrorKind::refused,
                     fmt::format("the broker does not take the sentence on {}: {}; check its "
                                 "access list",
                                 publication.topic, report.words));
    }
    if (auto answer = exchange.wait_answer(turn_ends)) return *answer;
  }
  return failure(
      ErrorKind::not_reached,
      fmt::format("no answer from the service within {}; is torpord running, and is '{}' "
                  "its `storeroom`? The sentence may or may not have been carried out: "
                  "look before you repeat it",
                  seconds_text(settings.patience), settings.storeroom));
}

}  // namespace torpor::daemon
