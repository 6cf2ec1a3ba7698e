#include "daemon/command/listen.h"

#include <fmt/format.h>
#include <pthread.h>
#include <signal.h>

#include <algorithm>
#include <chrono>

#include "daemon/command/arguments.h"
#include "daemon/command/terminal.h"
#include "daemon/link/listener.h"
#include "daemon/link/topic_filter.h"
#include "daemon/report/duration_words.h"
#include "daemon/report/heard_topics.h"
#include "daemon/report/printable.h"
#include "daemon/service/broker_access.h"

namespace torpor::daemon {
namespace {

using namespace std::chrono_literals;
using Clock = std::chrono::steady_clock;

constexpr Duration kUsualTime = 30s;
constexpr auto kConnectPatience = 15s;
// How soon an interrupt is noticed.
constexpr auto kLook = 100ms;
constexpr int kWidth = 80;

// Ctrl-C means "enough": what was heard is still shown. Blocked before the link's threads start, so
// that they inherit it, and asked for with sigpending().
class Interrupt {
 public:
  Interrupt() {
    ::sigemptyset(&signals_);
    ::sigaddset(&signals_, SIGINT);
    ::pthread_sigmask(SIG_BLOCK, &signals_, &before_);
  }
  ~Interrupt() {
    int taken = 0;
    if (came()) ::sigwait(&signals_, &taken);
    ::pthread_sigmask(SIG_SETMASK, &before_, nullptr);
  }
  Interrupt(const Interrupt&) = delete;
  Interrupt& operator=(const Interrupt&) = delete;
  [[nodiscard]] bool came() const {
    sigset_t pending;
    return ::sigpending(&pending) == 0 && ::sigismember(&pending, SIGINT) == 1;
  }

 private:
  sigset_t signals_{}, before_{};
};

std::string message_line(const HeardMessage& message, const LocalTime& zone) {
  const auto second = std::chrono::floor<std::chrono::seconds>(message.received_at);
  const std::string head =
      fmt::format("{}:{:02} {}{}", zone.to_text(message.received_at).substr(11),
                  second.time_since_epoch().count() % 60, printable(message.topic),
                  message.retained ? " (retained)" : "");
  const std::string payload = message.payload.empty() ? "(empty)" : excerpt(message.payload);
  const bool one_line = display_width(head) + 2 + display_width(payload) <= kWidth;
  return head + (one_line ? "  " : "\n    ") + payload + '\n';
}

Outcome print(std::FILE* out, const std::string& text) {
  if (std::fwrite(text.data(), 1, text.size(), out) == text.size() && std::fflush(out) == 0) {
    return {};
  }
  return tl::unexpected(Failure{ExitCode::failed, "the output could not be written in full"});
}

// As with a sentence: a broker that turns us away is as far as one that is down.
tl::unexpected<Failure> not_reached(const Error& error) {
  Failure failure = failure_of(error);
  if (error.kind == ErrorKind::refused) failure.code = ExitCode::not_reached;
  return tl::unexpected(std::move(failure));
}

std::string nothing_heard(const std::string& topic, const BrokerAccess& access, Duration time) {
  return fmt::format(
      "nothing arrived on {} of {} within {}: see that the sensor is awake and publishes to this "
      "broker and that its access list lets us read it, look at all there is with `torpor listen "
      "'#'`, or listen longer with --for 10min",
      printable(topic), access.uri, in_words(time));
}

}  // namespace

Outcome listen(const ListenOrder& order, const std::filesystem::path& config, std::FILE* out) {
  if (!is_topic_filter(order.topic)) {
    return usage(fmt::format(
        "'{}' is no topic to listen to: write one such as cellar/s1, with + for any one level or # "
        "at the end for all below, in quotes",
        printable(order.topic)));
  }
  const auto time = order.for_time.empty() ? tl::expected<Duration, std::string>(kUsualTime)
                                           : read_duration(order.for_time);
  if (!time) return usage("--for: " + time.error());
  const auto loaded = load_for_command(config, Purpose::broker);
  if (!loaded) return tl::unexpected(loaded.error());
  const BrokerAccess access = broker_access(*loaded);

  const Interrupt interrupt;
  auto listener = Listener::open(access, order.topic, kConnectPatience);
  if (!listener) return not_reached(listener.error());
  if (auto printed = print(out, fmt::format("Listening to {} at {} for {}; nothing is recorded.\n",
                                            printable(order.topic), access.uri, in_words(*time)));
      !printed) {
    return printed;
  }
  HeardTopics heard(loaded->settings);
  std::size_t messages = 0;
  const auto end = Clock::now() + *time;
  while (Clock::now() < end && !interrupt.came() && (order.count == 0 || messages < order.count)) {
    const auto left = std::chrono::ceil<std::chrono::milliseconds>(end - Clock::now());
    const auto message = (*listener)->next(std::clamp<std::chrono::milliseconds>(left, 0ms, kLook));
    if (!message) {
      if (auto printed = print(out, '\n' + heard.text(kWidth)); !printed) return printed;
      return not_reached(message.error());
    }
    if (!*message) continue;
    ++messages;
    heard.add((*message)->topic, (*message)->payload, (*message)->retained,
              (*message)->received_at);
    if (auto printed = print(out, message_line(**message, loaded->zone)); !printed) return printed;
  }
  if (heard.empty()) {
    return tl::unexpected(Failure{ExitCode::failed, nothing_heard(order.topic, access, *time)});
  }
  std::string text = '\n' + heard.text(kWidth);
  if ((*listener)->missed() > 0) {
    text += fmt::format("{} messages came too fast to be shown.\n", (*listener)->missed());
  }
  return print(out, text);
}

}  // namespace torpor::daemon
