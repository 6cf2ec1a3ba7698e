// A child process of a test: started, watched line by line, ended by its own id. Never a shell.
#pragma once

#include <chrono>
#include <condition_variable>
#include <functional>
#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include <sys/types.h>

namespace torpor::testing {

// Long enough for a loaded machine; a test that passes never waits this long.
inline constexpr std::chrono::seconds kPatience{20};

// Polls until `condition` holds. False: it did not within `patience`.
[[nodiscard]] bool wait_until(const std::function<bool()>& condition,
                              std::chrono::milliseconds patience = kPatience);

// How a child ended: exit code, or the signal that killed it.
struct Ending {
  std::optional<int> code;
  std::optional<int> signal;
};

class ChildProcess {
 public:
  // `arguments[0]` is looked up in PATH. Its output (and errors) are read into lines(). Throws
  // std::runtime_error if it cannot be started.
  explicit ChildProcess(const std::vector<std::string>& arguments,
                        const std::map<std::string, std::string>& environment = {});
  // Kills it if it still runs.
  ~ChildProcess();
  ChildProcess(const ChildProcess&) = delete;
  ChildProcess& operator=(const ChildProcess&) = delete;

  [[nodiscard]] pid_t id() const { return id_; }
  void signal(int number);
  // Its end, with all its output read. nullopt: it still runs after `patience`.
  [[nodiscard]] std::optional<Ending> wait(std::chrono::milliseconds patience = kPatience);
  // Everything it has written so far, without the line ends.
  [[nodiscard]] std::vector<std::string> lines() const;
  // Waits until `count` of its lines fulfil `wanted`.
  [[nodiscard]] bool wait_for_lines(std::size_t count,
                                    const std::function<bool(const std::string&)>& wanted,
                                    std::chrono::milliseconds patience = kPatience);

 private:
  void read_output(int descriptor);

  pid_t id_ = -1;
  std::optional<Ending> ending_;
  mutable std::mutex mutex_;
  std::condition_variable changed_;
  std::vector<std::string> lines_;
  bool output_ended_ = false;
  std::thread reader_;
};

// Runs a command to its end and returns its output. Throws std::runtime_error, with the output,
// when it fails.
std::string run_command(const std::vector<std::string>& arguments);

}  // namespace torpor::testing
