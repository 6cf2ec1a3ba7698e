// A real mosquitto for tests: on 127.0.0.1, on a free port, with a configuration, log and database
// of its own in a temporary folder. Nothing of the system's mosquitto is read or touched. It is
// ended by its own process id.
//
//   Broker broker({.users = {{"torpord", "secret"}}});      // started, accepts connections
//   ... broker.uri() ...
//   broker.kill();                                          // as a power cut
//   broker.start();                                         // same port, same folder
#pragma once

#include <chrono>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "tests/daemon/link/child_process.h"
#include "tests/daemon/temp_folder.h"

namespace torpor::testing {

// A port of 127.0.0.1 nobody listens on now. Another process can take it before the server does:
// its start() says so.
[[nodiscard]] int free_port();

struct BrokerTls {
  std::string authority;  // PEM files
  std::string certificate;
  std::string key;
  bool clients_need_certificate = false;
};

struct BrokerOptions {
  // User and password; empty: anybody may connect.
  std::map<std::string, std::string> users = {};
  // Text of an access list (mosquitto.conf(5), acl_file); empty: everything is allowed.
  std::string access_list = {};
  // Keep sessions and retained messages over a clean stop. A kill loses what came since the start.
  bool persistence = false;
  std::optional<BrokerTls> tls = {};
  // Further lines of mosquitto.conf, such as "max_queued_messages 0".
  std::vector<std::string> extra = {};
  // Its listeners and all they say, instead of what the options above make of them; one of them is
  // at `port`.
  std::string listeners = {};
  int port = 0;  // 0: a free one
};

class Broker {
 public:
  // Starts it unless told not to. Throws std::runtime_error, with the broker's log, when it does
  // not come up.
  explicit Broker(BrokerOptions options = {}, bool start_now = true);
  ~Broker() = default;

  // Waits until it accepts connections. The port is the same each time.
  void start();
  void stop();     // SIGTERM, and waits for the end
  void kill();     // SIGKILL, and waits for the end
  void restart();  // stop, start
  void freeze();   // SIGSTOP: connections stand, nothing moves
  void thaw();
  // Replaces a password (nullopt: removes the user) and makes the broker read the file again.
  void set_password(const std::string& user, const std::optional<std::string>& password);

  [[nodiscard]] int port() const { return port_; }
  [[nodiscard]] std::string uri() const;  // mqtt:// or mqtts://127.0.0.1:port
  [[nodiscard]] std::string uri(const std::string& host) const;  // with another name for it
  [[nodiscard]] const BrokerOptions& options() const { return options_; }
  [[nodiscard]] std::string folder() const { return folder_.text(); }
  [[nodiscard]] bool running();

  // Everything it logged since the first start (log_type all: connects, subscribes, packets).
  [[nodiscard]] std::string log() const;
  [[nodiscard]] std::size_t count_in_log(const std::string& text) const;
  [[nodiscard]] bool wait_for_log(const std::string& text, std::size_t count = 1,
                                  std::chrono::milliseconds patience = kPatience) const;

 private:
  void write_configuration();
  void write_passwords();

  BrokerOptions options_;
  tests::TempFolder folder_;
  int port_ = 0;
  std::unique_ptr<ChildProcess> process_;
};

}  // namespace torpor::testing
