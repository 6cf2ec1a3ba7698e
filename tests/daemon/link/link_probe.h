// What the link's handlers were called with, kept for a test to wait on.
#pragma once

#include <functional>
#include <mutex>
#include <string>
#include <utility>
#include <vector>

#include "daemon/link/link.h"
#include "tests/daemon/link/child_process.h"

namespace torpor::testing {

// A pace that does not make a test wait.
inline constexpr daemon::RetryPace kQuickly{std::chrono::milliseconds(50),
                                            std::chrono::milliseconds(200)};

// An IncomingMessage that owns its text.
struct HeardMessage {
  std::string topic, payload;
  bool retained = false, redelivered = false;
  std::string response_topic, correlation, by;
};

class HeardMessages {
 public:
  daemon::Taken take(const daemon::IncomingMessage& message) {
    const std::lock_guard lock(mutex_);
    messages_.push_back({std::string(message.topic), std::string(message.payload), message.retained,
                         message.redelivered, message.response_topic, message.correlation,
                         message.by});
    return answer_;
  }
  void answer_with(daemon::Taken answer) {
    const std::lock_guard lock(mutex_);
    answer_ = answer;
  }
  [[nodiscard]] std::vector<HeardMessage> all() const {
    const std::lock_guard lock(mutex_);
    return messages_;
  }
  [[nodiscard]] std::vector<std::string> payloads() const {
    std::vector<std::string> result;
    for (const HeardMessage& message : all()) result.push_back(message.payload);
    return result;
  }
  [[nodiscard]] bool wait_for(std::size_t count) const {
    return wait_until([&] { return all().size() >= count; });
  }

 private:
  mutable std::mutex mutex_;
  std::vector<HeardMessage> messages_;
  daemon::Taken answer_ = daemon::Taken::go_on;
};

class States {
 public:
  void add(bool connected, const std::string& reason) {
    const std::lock_guard lock(mutex_);
    states_.emplace_back(connected, reason);
  }
  [[nodiscard]] std::vector<std::pair<bool, std::string>> all() const {
    const std::lock_guard lock(mutex_);
    return states_;
  }
  [[nodiscard]] std::size_t connections() const {
    std::size_t count = 0;
    for (const auto& [connected, reason] : all()) count += connected ? 1U : 0U;
    return count;
  }
  [[nodiscard]] bool wait_connected(std::size_t times = 1) const {
    return wait_until([&] { return connections() >= times; });
  }
  // Waits for a state that is not connected with this text in its reason.
  [[nodiscard]] bool wait_reason(const std::string& text) const {
    return wait_until([&] {
      for (const auto& [connected, reason] : all()) {
        if (!connected && reason.find(text) != std::string::npos) return true;
      }
      return false;
    });
  }
  // For a message of a failed check.
  [[nodiscard]] std::string text() const {
    std::string result;
    for (const auto& [connected, reason] : all()) {
      result += (connected ? "connected " : "not connected ") + reason + "\n";
    }
    return result;
  }

 private:
  mutable std::mutex mutex_;
  std::vector<std::pair<bool, std::string>> states_;
};

}  // namespace torpor::testing
