// The link to the broker: two MQTT 5 connections with fixed client ids. Intake (persistent session)
// takes readings and tells; outgoing publishes. Wraps paho; no paho type or exception leaves it.
//
// Threads: the intake's message handler runs on paho's receive thread while paho holds its
// process-wide lock. It must decode, append to the inbox, hand over and return; returning is the
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
  std::string uri;   // mqtt://host:port or mqtts://host:port
  std::string user;  // empty: none
  std::string password;
  std::string authority, certificate, key;  // PEM files; empty: none
};

// Pauses between tries to connect: doubled from `first` to `longest`, each with a jitter of 20 % so
// that many machines do not come back in step after a power cut.
struct RetryPace {
  std::chrono::milliseconds first{1000};
  std::chrono::milliseconds longest{60000};
};

struct IncomingMessage {
  std::string_view topic;
  std::string_view payload;
  bool retained = false;
  bool redelivered = false;  // DUP
  std::string response_topic;
  std::string correlation;
  std::string by;  // user property "by"
};

// Whether the link may go on taking messages after this one.
enum class Taken { go_on, stop };

struct IntakeSettings {
  BrokerAccess access;
  std::string storeroom;            // client id torpor-<storeroom>-intake
  std::vector<std::string> topics;  // of the sensors; filters with + for {sensor}
  std::chrono::seconds session_expiry = std::chrono::hours(24 * 7);
  // A restart or a short loss of the network within this time is nobody's business.
  std::chrono::seconds will_delay{60};
  RetryPace retry;
};

// What happens to a connection and is no plain loss.
enum class Disturbance {
  // The broker forgot our session: it restarted without its memory, or somebody else wiped it under
  // our client id. Retained messages were asked for again.
  session_lost,
  // Somebody else connected with our client id: the broker says so, or pushed us off three times
  // within a minute. From now on we use an id that nobody can know.
  taken_over,
  // The same under that id: the broker does not go by what we call ourselves, but by our user.
  wrong_door,
};

struct IntakeHandlers {
  // paho's receive thread. Returning acknowledges. Taken::stop: the link disconnects from another
  // thread right after, so that the broker's session queues.
  std::function<Taken(const IncomingMessage&)> message;
  // A thread of the link; must not block. Called when the state or its reason changes. Connected
  // means subscribed, too. `reason` is a plain sentence that says what to check; when connected it
  // is empty, or names the topics whose subscription the broker refused.
  std::function<void(bool connected, const std::string& reason)> state;
  // As `state`. May be empty.
  std::function<void(Disturbance)> disturbed = {};
};

// Takes messages until destroyed, from the sensors' topics and from torpor/<storeroom>/tell.
// Reconnects by itself with growing pauses, subscribes anew with Retain Handling 2 each time it
// connects (with 0 where the broker forgot its session, so that what it kept is heard), and starts
// while no broker is up. Its will is a line on torpor/<storeroom>/notice.
class Intake {
 public:
  // Checks the settings only; handlers may be called before it returns.
  [[nodiscard]] static tl::expected<std::unique_ptr<Intake>, Error> start(IntakeSettings settings,
                                                                          IntakeHandlers handlers);
  virtual ~Intake() = default;
  // After Taken::stop: take messages again. Any thread.
  virtual void resume() = 0;
};

struct OutgoingSettings {
  BrokerAccess access;
  std::string storeroom;  // client id torpor-<storeroom>-outgoing
  std::string gone;       // payload of the will on `service` (retained)
  RetryPace retry;
};

struct OutgoingHandlers {
  // Publisher thread, after the broker's PUBACK: this message of the outbox is delivered.
  std::function<void(const std::string& id)> delivered;
  std::function<void(bool connected, const std::string& reason)> state;
  // As `state`: never session_lost, for it has none. May be empty.
  std::function<void(Disturbance)> disturbed = {};
};

// One publisher thread drains what it is given to paho, in order, each until acknowledged (or until
// destroyed). Each carries the user property "id" of its OutboxMessage, by which a receiver knows a
// repeat. A message the broker refuses is set aside and tried again every minute, so that one
// forbidden topic does not hold up the others. show() is for retained states: only the newest
// payload of a topic is kept waiting, and messages of the outbox go first. A broker that restarts
// without persistence forgets what was shown: show it again when `state` says connected.
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
  // Nothing is sent afterwards. Where they could not all be published, and in the destructor
  // without finish(), `gone` is published instead; a broker that is not reached publishes it by
  // itself, as the will.
  virtual void finish(std::vector<OutboxMessage> last, std::chrono::milliseconds patience) = 0;
  // Retained topics below torpor/<storeroom>/ that the broker holds, collected for `patience` after
  // connecting; for emptying orphans at start. Calls back on a thread of the link, once, or never
  // if this object is destroyed before. Ask once at a time.
  virtual void collect_retained(std::chrono::milliseconds patience,
                                std::function<void(std::vector<std::string> topics)> then) = 0;
};

// Topics of a storeroom: topic_of("cellar", "alert/12") = "torpor/cellar/alert/12".
[[nodiscard]] std::string topic_of(std::string_view storeroom, std::string_view rest);

}  // namespace torpor::daemon
