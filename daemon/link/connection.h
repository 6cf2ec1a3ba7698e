// One MQTT 5 connection that keeps itself up: connects, subscribes, says why it cannot, tries again
// with growing pauses. Intake, outgoing and the tell client are made of it. Only connection.cpp
// knows the MQTT library (paho); none of its types or exceptions leaves that file.
//
// Why it does not use the library's own automatic reconnect: that reports the reason of the first
// failure only, so a password changed at the broker would stay "connection lost" for ever.
//
// Threads. A thread of its own connects, subscribes, disconnects and reports state. Messages come
// on the library's receive thread, which holds the library's process-wide lock: see link.h.
#pragma once

#include <atomic>
#include <chrono>
#include <condition_variable>
#include <cstdint>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/link/broker_address.h"
#include "daemon/link/link.h"

namespace torpor::daemon {

struct Will {
  std::string topic;
  std::string payload;
  bool retain = false;
  std::chrono::seconds delay{0};
};

enum class RetainHandling { send = 0, do_not_send = 2 };  // MQTT 5, 3.8.3.1

struct ConnectionSettings {
  BrokerAccess access;
  std::string client_id;
  std::chrono::seconds session_expiry{0};  // 0: a clean start each time
  std::uint16_t receive_maximum = 0;       // 0: the standard's 65,535
  std::optional<Will> will;
  std::vector<std::string> filters;  // subscribed to, QoS 1, each time it connects
  RetainHandling retain_handling = RetainHandling::do_not_send;
  RetryPace retry;
};

struct ConnectionHandlers {
  // The library's receive thread; returning acknowledges. An exception is a broken promise: see
  // Connection. May be empty when there are no filters.
  std::function<void(const IncomingMessage&)> message;
  // The connection's own thread. Connected means: subscribed as well. See link.h for `reason`.
  std::function<void(bool connected, const std::string& reason)> state;
  // The connection's own thread. May be empty.
  std::function<void(Disturbance)> disturbed = {};
};

struct Publication {
  std::string topic;
  std::string payload;
  bool retain = false;
  std::string response_topic;                              // empty: none
  std::string correlation;                                 // raw; empty: none
  std::vector<std::pair<std::string, std::string>> notes;  // user properties
  std::chrono::seconds expiry{0};                          // 0: never
};

enum class Delivery {
  acknowledged,
  refused,      // the broker will not take it; `words` says why
  interrupted,  // connection lost, time over or stopped: unknown, send again
};
struct DeliveryReport {
  Delivery outcome = Delivery::interrupted;
  std::string words;
};

// A message handler that throws has not kept its message. If the broker sends it for the first time
// the process ends (exit code 70, after a log line), so that it stays unacknowledged and comes
// again; if it is a redelivery it is logged, dropped and acknowledged, so that one message cannot
// keep the service from running.
//
// A client id belongs to nobody: whoever has a password can connect under ours and push us off.
// Once that is plain (Disturbance::taken_over) the connection goes on under an id that nobody can
// know, its own with a random end, until it is destroyed. It ends the session that was taken, so
// that what waits there is not heard a second time later.
class Connection {
 public:
  // Checks address and files; does not wait for the broker. Error kinds: invalid, not_found.
  [[nodiscard]] static tl::expected<std::unique_ptr<Connection>, Error> open(
      ConnectionSettings settings, ConnectionHandlers handlers);
  // Disconnects cleanly, which makes the broker drop the will. Not from a handler.
  ~Connection();
  Connection(const Connection&) = delete;
  Connection& operator=(const Connection&) = delete;

  // Any thread, also the message handler: disconnect soon and stay so; connect again.
  void pause(std::string reason);
  void resume();

  // Any thread but a handler. False: not connected within `patience` or interrupt() was called.
  [[nodiscard]] bool wait_connected(std::chrono::milliseconds patience);
  // QoS 1; waits for the broker's acknowledgement. Any thread but a handler.
  [[nodiscard]] DeliveryReport publish(const Publication& publication,
                                       std::chrono::milliseconds patience);
  // The same, for a last word before the end: also after interrupt(), and for a second at most.
  void publish_farewell(const Publication& publication);
  // Whether the last try failed because the broker itself refused us. Any thread.
  [[nodiscard]] bool refused() const { return refused_; }
  // Ends the waits of wait_connected() and publish(), now and from now on.
  void interrupt();

 private:
  struct Library;  // paho's client and options

  Connection(ConnectionSettings settings, ConnectionHandlers handlers, BrokerAddress address);
  void make_client();
  void run();
  void note_end(int code);
  void take_spare_id();
  void end_taken_session();
  [[nodiscard]] std::shared_ptr<Library> library() const;
  [[nodiscard]] std::string connect_once();  // empty: connected and subscribed
  [[nodiscard]] std::string subscribe_all();
  void disconnect();
  [[nodiscard]] DeliveryReport deliver(const Publication& publication,
                                       std::chrono::milliseconds patience,
                                       const std::function<bool()>& give_up);
  void report(bool connected, const std::string& reason);
  void stay_connected();
  [[nodiscard]] std::string loss_sentence(int code) const;
  void wait_before_retry();
  void take(const IncomingMessage& message) noexcept;

  // Constant after construction.
  const ConnectionSettings settings_;
  const ConnectionHandlers handlers_;
  const BrokerAddress address_;

  // Own thread only.
  std::chrono::milliseconds next_pause_;
  std::string reported_;
  bool reported_connected_ = false;
  std::uint64_t failures_ = 0;  // since it was last connected
  int losses_ = 0;              // in a row, the next try having succeeded each time
  std::string client_id_;       // the settings' own, or the spare one
  std::vector<std::chrono::steady_clock::time_point> ends_;  // lately, by the other side
  bool greeted_ = false;                                     // the broker accepted the last try
  bool had_session_ = false;    // subscribed once, so that the broker should know us
  bool session_gone_ = false;   // it did not, the last time
  bool taken_session_ = false;  // is still to be ended
  std::chrono::steady_clock::time_point last_logged_;
  std::string partly_refused_;  // topics whose subscription the broker refused

  std::atomic<bool> refused_{false};

  // Under mutex_, which is never held while the library is called.
  mutable std::mutex mutex_;
  std::condition_variable changed_;
  bool stopping_ = false;
  bool interrupted_ = false;
  bool paused_ = false;
  std::string pause_reason_;
  bool up_ = false;
  bool lost_ = false;
  int broker_said_ = 0;  // reason code of its last DISCONNECT

  std::shared_ptr<Library> library_;  // replaced with the id; publishers hold on to theirs
  std::thread thread_;                // last: started when all else is ready
};

}  // namespace torpor::daemon
