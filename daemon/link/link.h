// The link to the broker: two MQTT 5 connections with fixed client ids. Intake (persistent session)
// takes readings and tells; outgoing publishes. Wraps paho; no paho type or exception leaves it.
//
// Threads: the intake's handlers run on paho's receive thread while paho holds its process-wide
// lock. A handler must decode, append to the inbox, hand over and return; returning is the
// acknowledgement. It must never wait for another thread, throw, or call the link.
#pragma once

#include <chrono>
#include <functional>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/error.h"
#include "daemon/history/store.h"

namespace torpor::daemon {

struct BrokerAccess {
  std::string uri;               // mqtt://host:port or mqtts://host:port
  std::string user;              // empty: none
  std::string password;
  std::string authority, certificate, key;   // PEM files; empty: none
};

struct IncomingMessage {
  std::string_view topic;
  std::string_view payload;
  bool retained = false;
  bool redelivered = false;      // DUP
  std::string response_topic;
  std::string correlation;
  std::string by;                // user property "by"
};

// Whether the link may go on taking messages after this one.
enum class Taken { go_on, stop };

struct IntakeSettings {
  BrokerAccess access;
  std::string storeroom;                  // client id torpor-<storeroom>-intake
  std::vector<std::string> topics;        // of the sensors; filters with + for {sensor}
  std::chrono::seconds session_expiry = std::chrono::hours(24 * 7);
};

struct IntakeHandlers {
  // paho's receive thread. Returning acknowledges. Taken::stop: the link disconnects from another
  // thread right after, so that the broker's session queues.
  std::function<Taken(const IncomingMessage&)> message;
  // paho's threads; must not block. `reason` is empty when connected, else a plain sentence.
  std::function<void(bool connected, const std::string& reason)> state;
};

// Takes messages until destroyed. Reconnects by itself with growing pauses (1 s to 60 s, jittered),
// subscribes anew with Retain Handling 2 each time it connects, and starts while no broker is up.
class Intake {
 public:
  [[nodiscard]] static tl::expected<std::unique_ptr<Intake>, Error> start(IntakeSettings settings,
                                                                          IntakeHandlers handlers);
  virtual ~Intake() = default;
  // After Taken::stop: take messages again.
  virtual void resume() = 0;
};

struct OutgoingSettings {
  BrokerAccess access;
  std::string storeroom;                  // client id torpor-<storeroom>-outgoing
  std::string gone;                       // payload of the will on `service` (retained)
};

struct OutgoingHandlers {
  // Publisher thread, after the broker's PUBACK: this message of the outbox is delivered.
  std::function<void(const std::string& id)> delivered;
  std::function<void(bool connected, const std::string& reason)> state;
};

// One publisher thread drains what it is given to paho, in order, each until acknowledged (or until
// destroyed). show() is for retained states: only the newest payload of a topic is kept waiting.
class Outgoing {
 public:
  [[nodiscard]] static tl::expected<std::unique_ptr<Outgoing>, Error> start(
      OutgoingSettings settings, OutgoingHandlers handlers);
  virtual ~Outgoing() = default;
  // Any thread, never blocks. At least once, in order.
  virtual void send(OutboxMessage message) = 0;
  // Any thread, never blocks. Retained, newest only, not kept over a restart.
  virtual void show(std::string topic, std::string payload) = 0;
  // Publishes what waits and these last messages, at most `patience`, then disconnects cleanly.
  virtual void finish(std::vector<OutboxMessage> last, std::chrono::milliseconds patience) = 0;
  // Retained topics below torpor/<storeroom>/ that the broker holds, collected for `patience` after
  // connecting; for emptying orphans at start. Calls back on a paho thread, once.
  virtual void collect_retained(std::chrono::milliseconds patience,
                                std::function<void(std::vector<std::string> topics)> then) = 0;
};

// Topics of a storeroom: topic_of("cellar", "alert/12") = "torpor/cellar/alert/12".
[[nodiscard]] std::string topic_of(std::string_view storeroom, std::string_view rest);

}  // namespace torpor::daemon
