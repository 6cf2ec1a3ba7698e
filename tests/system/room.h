// A storeroom as its keeper runs it, for tests: a real broker, a real torpord, the real command, a
// configuration file in a folder of their own. Everything listens on 127.0.0.1 on free ports and is
// ended by its own process id.
#pragma once

#include <chrono>
#include <functional>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "sensors/reading.h"
#include "tests/daemon/link/broker.h"
#include "tests/daemon/link/child_process.h"
#include "tests/daemon/link/raw_client.h"
#include "tests/daemon/temp_folder.h"

namespace torpor::testing {

struct RoomOptions {
  std::string clock = "readings";
  std::string rules = {};        // rules.yaml; empty: the built-in book alone
  std::string broker_keys = {};  // more keys of `broker:`, such as "user: torpord, secret: s"
  BrokerOptions broker{.extra = {"max_queued_messages 0"}};
  bool broker_runs = true;
  bool unkind = false;  // make_read_only(), make_stuck() and set_clock_wrong() can be used
  bool unkind_to_commands = false;                      // the world is the same for `torpor`
  std::map<std::string, std::string> environment = {};  // of torpord
};

struct CommandResult {
  int code = -1;
  std::string output;  // standard output and errors
};

// 2025-07-14T00:00:00Z: every test's first moment, in the past of any clock.
inline constexpr Instant kFirst = instant_of(1'752'451'200'000);

class Room {
 public:
  explicit Room(RoomOptions options = {});

  void start();              // torpord; waits until it takes readings
  void start_unconnected();  // torpord; returns at once
  Ending stop();             // SIGTERM
  void kill();               // SIGKILL
  [[nodiscard]] ChildProcess& service() { return *service_; }
  [[nodiscard]] bool service_says(const std::string& text, std::size_t times = 1);

  // The command, with this room's configuration.
  [[nodiscard]] CommandResult torpor(std::vector<std::string> arguments) const;
  // The command with --json, parsed; fails the test if it does not end with 0.
  [[nodiscard]] nlohmann::json torpor_json(std::vector<std::string> arguments) const;
  // Every (sensor, quantity) reading of the history, in order of time, through the Reader.
  [[nodiscard]] std::vector<Reading> readings() const;

  // Publications in the three forms.
  void say_json(Instant at, double celsius, double percent) const;   // s1, cellar/shelf-1
  void say_senml(Instant at, double celsius, double percent) const;  // s2, cellar/shelf-2
  void say_number(double fahrenheit) const;                          // n1, outside
  [[nodiscard]] static std::string json_line(Instant at, double celsius, double percent);

  [[nodiscard]] Broker& broker() { return broker_; }
  [[nodiscard]] const Broker& broker() const { return broker_; }
  [[nodiscard]] std::string folder() const { return folder_.text(); }
  [[nodiscard]] std::string config_file() const { return folder() + "/torpor.yaml"; }
  [[nodiscard]] std::string history_file() const { return folder() + "/history.sqlite3"; }
  void write(const std::string& name, const std::string& text) const;
  // Whether rooms can be unkind in this build; says so if not.
  [[nodiscard]] static bool can_be_unkind();
  // For the service alone (unkind_world.cpp).
  void make_read_only(bool read_only) const;
  void make_stuck(bool stuck) const;
  void set_clock_wrong(std::chrono::seconds by) const;
  // Both clocks of the board go on by so much, as time passes.
  void pass(std::chrono::seconds time);
  // Its steady clock begins anew.
  void start_board_anew();
  void set_time_server(bool keeps_the_clock) const;

 private:
  void turn(const std::string& name, bool on) const;  // a switch of the unkind world

  void set_number(const std::string& name, long number) const;

  std::chrono::seconds passed_{}, uptime_{};
  mutable std::chrono::seconds wrong_{};
  std::map<std::string, std::string> environment_, of_commands_;
  tests::TempFolder folder_;
  Broker broker_;
  std::unique_ptr<ChildProcess> service_;
};

// A rule that ten minutes above 27 °C set off.
extern const char kWarmRule[];

// How many notices have come with that in them.
[[nodiscard]] std::size_t said(const RawSubscriber& notices, const std::string& text);

}  // namespace torpor::testing
