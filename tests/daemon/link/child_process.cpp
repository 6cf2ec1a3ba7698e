#include "tests/daemon/link/child_process.h"

#include <csignal>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <stdexcept>

#include <fcntl.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

extern char** environ;

namespace torpor::testing {

using namespace std::chrono_literals;

bool wait_until(const std::function<bool()>& condition, std::chrono::milliseconds patience) {
  const auto deadline = std::chrono::steady_clock::now() + patience;
  while (!condition()) {
    if (std::chrono::steady_clock::now() >= deadline) return false;
    std::this_thread::sleep_for(10ms);
  }
  return true;
}

ChildProcess::ChildProcess(const std::vector<std::string>& arguments,
                           const std::map<std::string, std::string>& environment) {
  int pipe[2];
  if (::pipe2(pipe, O_CLOEXEC) != 0) throw std::runtime_error("pipe2 failed");
  std::vector<char*> argv;
  for (const std::string& argument : arguments) argv.push_back(const_cast<char*>(argument.c_str()));
  argv.push_back(nullptr);

  std::vector<std::string> settings;
  for (char** entry = environ; *entry != nullptr; ++entry) settings.emplace_back(*entry);
  for (const auto& [name, value] : environment) settings.push_back(name + "=" + value);
  std::vector<char*> envp;
  for (std::string& setting : settings) envp.push_back(setting.data());
  envp.push_back(nullptr);

  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_adddup2(&actions, pipe[1], STDOUT_FILENO);
  posix_spawn_file_actions_adddup2(&actions, pipe[1], STDERR_FILENO);
  posix_spawn_file_actions_addopen(&actions, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
  const int fault =
      ::posix_spawnp(&id_, arguments.front().c_str(), &actions, nullptr, argv.data(), envp.data());
  posix_spawn_file_actions_destroy(&actions);
  ::close(pipe[1]);
  if (fault != 0) {
    ::close(pipe[0]);
    throw std::runtime_error("cannot start " + arguments.front() + ": " + std::strerror(fault));
  }
  reader_ = std::thread([this, descriptor = pipe[0]] { read_output(descriptor); });
}

ChildProcess::~ChildProcess() {
  if (!ending_) {
    ::kill(id_, SIGKILL);
    (void)wait();  // it cannot outlive SIGKILL
  }
  reader_.join();
}

void ChildProcess::signal(int number) {
  if (!ending_) ::kill(id_, number);
}

std::optional<Ending> ChildProcess::wait(std::chrono::milliseconds patience) {
  const bool ended = wait_until(
      [this] {
        if (ending_) return true;
        int status = 0;
        if (::waitpid(id_, &status, WNOHANG) != id_) return false;
        ending_.emplace();
        if (WIFEXITED(status)) ending_->code = WEXITSTATUS(status);
        if (WIFSIGNALED(status)) ending_->signal = WTERMSIG(status);
        return true;
      },
      patience);
  if (ended) {
    std::unique_lock lock(mutex_);
    changed_.wait_for(lock, kPatience, [this] { return output_ended_; });
  }
  return ending_;
}

std::vector<std::string> ChildProcess::lines() const {
  const std::lock_guard lock(mutex_);
  return lines_;
}

bool ChildProcess::wait_for_lines(std::size_t count,
                                  const std::function<bool(const std::string&)>& wanted,
                                  std::chrono::milliseconds patience) {
  std::unique_lock lock(mutex_);
  return changed_.wait_for(lock, patience, [&] {
    std::size_t found = 0;
    for (const std::string& line : lines_) found += wanted(line) ? 1U : 0U;
    return found >= count;
  });
}

void ChildProcess::read_output(int descriptor) {
  std::string pending;
  char buffer[65536];
  while (true) {
    const ssize_t got = ::read(descriptor, buffer, sizeof buffer);
    if (got < 0 && errno == EINTR) continue;
    if (got <= 0) break;
    pending.append(buffer, static_cast<std::size_t>(got));
    const std::lock_guard lock(mutex_);
    for (auto end = pending.find('\n'); end != std::string::npos; end = pending.find('\n')) {
      lines_.push_back(pending.substr(0, end));
      pending.erase(0, end + 1);
    }
    changed_.notify_all();
  }
  ::close(descriptor);
  const std::lock_guard lock(mutex_);
  if (!pending.empty()) lines_.push_back(pending);
  output_ended_ = true;
  changed_.notify_all();
}

std::string run_command(const std::vector<std::string>& arguments) {
  ChildProcess child(arguments);
  const auto ending = child.wait();
  std::string output;
  for (const std::string& line : child.lines()) output += line + "\n";
  if (!ending || ending->code != 0) {
    throw std::runtime_error(arguments.front() + " failed:\n" + output);
  }
  return output;
}

}  // namespace torpor::testing
