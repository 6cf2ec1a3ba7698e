// A broker that says exactly what a test wants, for answers that mosquitto cannot be made to give:
// refusals by reason code, a message marked retained. Just enough of MQTT 5 for one client at a
// time.
#pragma once

#include <atomic>
#include <cstdint>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

namespace torpor::testing {

struct BrokerScript {
  std::uint8_t connack = 0;  // reason codes
  std::uint8_t suback = 1;
  std::uint8_t puback = 0;
  std::string after_subscribe = {};  // raw packets sent after the last SUBACK
  int subscriptions = 1;             // how many SUBSCRIBEs the client sends
};

class ScriptedBroker {
 public:
  explicit ScriptedBroker(BrokerScript script);
  ~ScriptedBroker();
  ScriptedBroker(const ScriptedBroker&) = delete;
  ScriptedBroker& operator=(const ScriptedBroker&) = delete;

  void change(BrokerScript script);
  [[nodiscard]] std::string uri() const;
  [[nodiscard]] int port() const { return port_; }

  // A PUBLISH, QoS 1, without properties.
  [[nodiscard]] static std::string publish_packet(const std::string& topic,
                                                  const std::string& payload, bool retained);
  // A DISCONNECT with reason code and empty properties.
  [[nodiscard]] static std::string disconnect_packet(std::uint8_t reason);

 private:
  void run();
  void serve(int connection);
  [[nodiscard]] BrokerScript script() const;

  mutable std::mutex mutex_;
  BrokerScript script_;
  int listener_ = -1;
  int port_ = 0;
  std::atomic<bool> stopping_{false};
  std::thread thread_;
};

}  // namespace torpor::testing
