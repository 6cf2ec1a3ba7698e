#include <condition_variable>
#include <deque>
#include <map>
#include <mutex>
#include <optional>
#include <set>
#include <thread>
#include <utility>
#include <variant>

#include <fmt/core.h>
#include <spdlog/spdlog.h>

#include "daemon/link/connection.h"
#include "daemon/link/link.h"

namespace torpor::daemon {
namespace {

using namespace std::chrono_literals;
using Clock = std::chrono::steady_clock;

// Without an acknowledgement for this long on a standing connection, the message is sent again.
constexpr auto kAcknowledgePatience = 30s;
// A refused message is tried again this often: someone may have mended the access list.
constexpr auto kRefusedPause = 60s;
// How long the publisher waits for a connection before it looks at its orders again.
constexpr auto kConnectSlice = 1h;

// Retained topics that a broker holds, read through a connection of their own, made for this and
// closed after it. Not through the outgoing one: that would have to take every live message of the
// storeroom while it publishes, and to unsubscribe on every way out, a lost connection included.
class RetainedSweep {
 public:
  using Then = std::function<void(std::vector<std::string>)>;

  RetainedSweep(const OutgoingSettings& settings, std::chrono::milliseconds patience, Then then) {
    ConnectionSettings wanted;
    wanted.access = settings.access;
    wanted.client_id = fmt::format("torpor-{}-sweep", settings.storeroom);
    wanted.filters = {topic_of(settings.storeroom, "#")};
    wanted.retain_handling = RetainHandling::send;
    wanted.retry = settings.retry;
    thread_ = std::thread([this, patience, wanted = std::move(wanted), finish = std::move(then)] {
      run(wanted, patience, finish);
    });
  }

  ~RetainedSweep() {
    {
      const std::lock_guard lock(mutex_);
      stopping_ = true;
    }
    changed_.notify_all();
    thread_.join();
  }
  RetainedSweep(const RetainedSweep&) = delete;
  RetainedSweep& operator=(const RetainedSweep&) = delete;

 private:
  void run(const ConnectionSettings& wanted, std::chrono::milliseconds patience, const Then& then) {
    if (!collect(wanted, patience)) return;
    then({topics_.begin(), topics_.end()});
  }

  // False: stopped before it was done. The connection is closed when this returns.
  bool collect(const ConnectionSettings& wanted, std::chrono::milliseconds patience) {
    const auto connection =
        Connection::open(wanted, {[this](const IncomingMessage& message) {
                                    if (!message.retained || message.payload.empty()) return;
                                    const std::lock_guard lock(mutex_);
                                    topics_.emplace(message.topic);
                                  },
                                  [this](bool connected, const std::string&) {
                                    const std::lock_guard lock(mutex_);
                                    connected_ = connected;
                                    changed_.notify_all();
                                  }});
    if (!connection) return false;  // the same settings have opened the outgoing connection
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [this] { return stopping_ || connected_; });
    changed_.wait_for(lock, patience, [this] { return stopping_; });
    return !stopping_;
  }

  std::mutex mutex_;
  std::condition_variable changed_;
  bool stopping_ = false;
  bool connected_ = false;
  std::set<std::string> topics_;
  std::thread thread_;
};

class RunningOutgoing final : public Outgoing {
 public:
  RunningOutgoing(OutgoingSettings settings, OutgoingHandlers handlers)
      : settings_(std::move(settings)), handlers_(std::move(handlers)) {}

  ~RunningOutgoing() override {
    sweep_.reset();
    stop(Clock::now());  // nothing to do after finish()
  }

  [[nodiscard]] tl::expected<void, Error> begin() {
    ConnectionSettings wanted;
    wanted.access = settings_.access;
    wanted.client_id = fmt::format("torpor-{}-outgoing", settings_.storeroom);
    // No session: the outbox is the memory of what is to be sent.
    wanted.will = Will{topic_of(settings_.storeroom, "service"), settings_.gone, true, 0s};
    wanted.retry = settings_.retry;
    auto opened =
        Connection::open(std::move(wanted), {nullptr, handlers_.state, handlers_.disturbed});
    if (!opened) return tl::unexpected(opened.error());
    connection_ = std::move(*opened);
    publisher_ = std::thread(&RunningOutgoing::run, this);
    return {};
  }

  void send(OutboxMessage message) override {
    const std::lock_guard lock(mutex_);
    if (finishing_) return;
    outbox_.push_back(std::move(message));
    work_.notify_all();
  }

  void show(std::string topic, std::string payload) override {
    const std::lock_guard lock(mutex_);
    if (finishing_) return;
    const auto [entry, fresh] = shows_.insert_or_assign(std::move(topic), std::move(payload));
    if (fresh) show_order_.push_back(entry->first);
    work_.notify_all();
  }

  void finish(std::vector<OutboxMessage> last, std::chrono::milliseconds patience) override {
    {
      const std::lock_guard lock(mutex_);
      if (finishing_) return;
      finish_asked_ = true;
      for (OutboxMessage& message : last) outbox_.push_back(std::move(message));
    }
    sweep_.reset();
    stop(Clock::now() + patience);
  }

  void collect_retained(std::chrono::milliseconds patience,
                        std::function<void(std::vector<std::string>)> then) override {
    sweep_ = std::make_unique<RetainedSweep>(settings_, patience, std::move(then));
  }

 private:
  struct Show {
    std::string topic;
    std::string payload;
  };
  using Job = std::variant<OutboxMessage, Show>;

  // What is to be published next; nullopt: finished, or out of time.
  std::optional<Job> next_job() {
    std::unique_lock lock(mutex_);
    while (true) {
      if (finishing_ && Clock::now() >= deadline_) return std::nullopt;
      if (!refused_.empty() && Clock::now() >= retry_refused_at_) {
        while (!refused_.empty()) {
          outbox_.push_front(std::move(refused_.back()));
          refused_.pop_back();
        }
      }
      if (!outbox_.empty()) return outbox_.front();
      if (!show_order_.empty()) {
        auto entry = shows_.extract(show_order_.front());
        show_order_.pop_front();
        return Show{std::move(entry.key()), std::move(entry.mapped())};
      }
      if (finishing_) {
        all_said_ = true;
        return std::nullopt;
      }
      const auto until = refused_.empty() ? Clock::now() + kConnectSlice : retry_refused_at_;
      work_.wait_until(lock, until);
    }
  }

  void run() {
    while (auto job = next_job()) {
      if (!connection_->wait_connected(kConnectSlice)) {
        put_back(std::move(*job));
        continue;
      }
      if (const auto* message = std::get_if<OutboxMessage>(&*job)) {
        publish(*message);
      } else {
        publish(std::get<Show>(*job));
      }
    }
    const std::lock_guard lock(mutex_);
    done_ = true;
    work_.notify_all();
  }

  void publish(const OutboxMessage& message) {
    Publication publication{message.topic,
                            message.payload,
                            message.retain,
                            {},
                            message.correlation,
                            {{"id", message.id}},
                            0s};
    const DeliveryReport report = connection_->publish(publication, kAcknowledgePatience);
    if (report.outcome == Delivery::interrupted) return;  // stays at the front
    {
      const std::lock_guard lock(mutex_);
      if (report.outcome == Delivery::refused) {
        if (refused_.empty()) retry_refused_at_ = Clock::now() + kRefusedPause;
        refused_.push_back(std::move(outbox_.front()));
      }
      outbox_.pop_front();
    }
    if (report.outcome == Delivery::refused) {
      log_refusal(message.topic, report.words);
    } else if (handlers_.delivered) {
      handlers_.delivered(message.id);
    }
  }

  void publish(const Show& shown) {
    const DeliveryReport report = connection_->publish(
        {shown.topic, shown.payload, true, {}, {}, {}, 0s}, kAcknowledgePatience);
    if (report.outcome == Delivery::refused) {
      log_refusal(shown.topic, report.words);
    } else if (report.outcome == Delivery::interrupted) {
      put_back(shown);
    }
  }

  void put_back(Job job) {
    auto* shown = std::get_if<Show>(&job);
    if (shown == nullptr) return;  // a message never left the queue
    const std::lock_guard lock(mutex_);
    // A newer state of the topic may have come meanwhile: that one is the one to show.
    const auto [entry, fresh] =
        shows_.try_emplace(std::move(shown->topic), std::move(shown->payload));
    if (fresh) show_order_.push_front(entry->first);
  }

  // Publisher thread. Once a minute a topic, so that a beat that is refused does not fill the log.
  void log_refusal(const std::string& topic, const std::string& words) {
    const auto now = Clock::now();
    if (now < quiet_until_) {
      ++unlogged_;
      return;
    }
    spdlog::error("the broker does not take messages on '{}': {}; check its access list{}", topic,
                  words, unlogged_ == 0 ? "" : fmt::format(" ({} more)", unlogged_));
    unlogged_ = 0;
    quiet_until_ = now + kRefusedPause;
  }

  // Lets the publisher work until the deadline, then takes leave of the broker: with the will,
  // unless finish() asked for the last messages and all of them were taken.
  void stop(Clock::time_point deadline) {
    if (!connection_) return;
    {
      std::unique_lock lock(mutex_);
      finishing_ = true;
      deadline_ = deadline;
      work_.notify_all();
      work_.wait_until(lock, deadline, [this] { return done_; });
    }
    connection_->interrupt();
    publisher_.join();
    if (!finish_asked_ || !all_said_) {
      connection_->publish_farewell(
          {topic_of(settings_.storeroom, "service"), settings_.gone, true, {}, {}, {}, 0s});
    }
    connection_.reset();
  }

  const OutgoingSettings settings_;
  const OutgoingHandlers handlers_;

  // Under mutex_.
  std::mutex mutex_;
  std::condition_variable work_;
  std::deque<OutboxMessage> outbox_;
  std::map<std::string, std::string> shows_;  // newest payload by topic
  std::deque<std::string> show_order_;        // its topics, in the order they were first shown
  std::deque<OutboxMessage> refused_;
  Clock::time_point retry_refused_at_;
  bool finishing_ = false;
  bool finish_asked_ = false;
  bool all_said_ = false;
  bool done_ = false;
  Clock::time_point deadline_;

  // Publisher thread only.
  Clock::time_point quiet_until_;
  std::uint64_t unlogged_ = 0;

  // One caller's thread.
  std::unique_ptr<RetainedSweep> sweep_;
  std::unique_ptr<Connection> connection_;
  std::thread publisher_;
};

}  // namespace

tl::expected<std::unique_ptr<Outgoing>, Error> Outgoing::start(OutgoingSettings settings,
                                                               OutgoingHandlers handlers) {
  auto outgoing = std::make_unique<RunningOutgoing>(std::move(settings), std::move(handlers));
  if (auto begun = outgoing->begin(); !begun) return tl::unexpected(begun.error());
  return outgoing;
}

}  // namespace torpor::daemon
