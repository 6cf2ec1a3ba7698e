#include <mutex>
#include <utility>

#include <fmt/core.h>

#include "daemon/link/connection.h"
#include "daemon/link/link.h"

namespace torpor::daemon {
namespace {

// How many messages the broker may have under way to us: what a crash makes it send twice, and what
// still arrives between Taken::stop and the disconnection.
constexpr std::uint16_t kReceiveMaximum = 20;

class RunningIntake final : public Intake {
 public:
  explicit RunningIntake(IntakeHandlers handlers) : handlers_(std::move(handlers)) {}

  [[nodiscard]] tl::expected<void, Error> begin(IntakeSettings settings) {
    ConnectionSettings wanted;
    wanted.client_id = fmt::format("torpor-{}-intake", settings.storeroom);
    wanted.session_expiry = settings.session_expiry;
    wanted.receive_maximum = kReceiveMaximum;
    wanted.will = Will{topic_of(settings.storeroom, "notice"),
                       fmt::format("Now: torpor in {} stopped listening to its sensors; look at "
                                   "the board and its power.",
                                   settings.storeroom),
                       false, settings.will_delay};
    wanted.filters = std::move(settings.topics);
    wanted.filters.push_back(topic_of(settings.storeroom, "tell"));
    wanted.retry = settings.retry;
    wanted.access = std::move(settings.access);
    auto opened = Connection::open(std::move(wanted),
                                   {[this](const IncomingMessage& message) { take(message); },
                                    handlers_.state, handlers_.disturbed});
    if (!opened) return tl::unexpected(opened.error());
    const std::lock_guard lock(mutex_);
    connection_ = std::move(*opened);
    if (stopped_) stop();
    return {};
  }

  void resume() override {
    const std::lock_guard lock(mutex_);
    stopped_ = false;
    connection_->resume();
  }

 private:
  void take(const IncomingMessage& message) {
    // Held over the handler, so that a resume() that follows its `stop` cannot overtake the pause.
    const std::lock_guard lock(mutex_);
    if (handlers_.message(message) == Taken::go_on) return;
    stopped_ = true;
    if (connection_) stop();  // else a message was faster than begin(), which looks again
  }

  void stop() {
    connection_->pause(
        "torpor stopped taking messages because it cannot keep them; the broker keeps them "
        "meanwhile");
  }

  const IntakeHandlers handlers_;
  std::mutex mutex_;
  bool stopped_ = false;
  std::unique_ptr<Connection> connection_;  // last: no handler runs once it is gone
};

}  // namespace

tl::expected<std::unique_ptr<Intake>, Error> Intake::start(IntakeSettings settings,
                                                           IntakeHandlers handlers) {
  auto intake = std::make_unique<RunningIntake>(std::move(handlers));
  if (auto begun = intake->begin(std::move(settings)); !begun) {
    return tl::unexpected(begun.error());
  }
  return intake;
}

std::string topic_of(std::string_view storeroom, std::string_view rest) {
  return fmt::format("torpor/{}/{}", storeroom, rest);
}

}  // namespace torpor::daemon
