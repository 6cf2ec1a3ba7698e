// MQTT clients that share no code with torpor: mosquitto_pub and mosquitto_sub as child processes.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tests/daemon/link/broker.h"

namespace torpor::testing {

// Who speaks; empty: nobody in particular.
struct RawUser {
  std::string name = {};
  std::string password = {};
  int port = 0;         // another listener of the broker; 0: its port()
  std::string id = {};  // of the client; empty: one that nobody else has
};

struct RawPublication {
  std::string topic;
  std::string payload;
  int qos = 1;
  bool retain = false;
  // Further arguments of mosquitto_pub, such as {"-D", "publish", "response-topic", "a/b"}.
  std::vector<std::string> extra = {};
};

// Returns when the broker has acknowledged it (QoS 1). Throws std::runtime_error if it does not.
void raw_publish(const Broker& broker, const RawPublication& publication, const RawUser& user = {});

// Publishes each line as a message of its own, QoS 1, in order; up to 10,000 over one connection.
void raw_publish_lines(const Broker& broker, const std::string& topic,
                       const std::vector<std::string>& lines, const RawUser& user = {});

struct RawMessage {
  std::string topic;
  std::string payload;
  bool retained = false;
  std::string correlation;  // raw, up to a line's end in it
  std::string notes;        // user properties, "name:value", space-separated
};

// Subscribed (QoS 1) when the constructor returns; hears until destroyed. Payloads of one line.
class RawSubscriber {
 public:
  RawSubscriber(const Broker& broker, const std::string& filter, const RawUser& user = {});

  [[nodiscard]] std::vector<RawMessage> messages() const;
  [[nodiscard]] bool wait_for(std::size_t count, std::chrono::milliseconds patience = kPatience);

 private:
  std::unique_ptr<ChildProcess> process_;
};

}  // namespace torpor::testing
