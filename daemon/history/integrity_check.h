// Reads the whole history once in the background and says what is damaged: a page that nobody asks
// for would else be found when it is needed. On its own thread and connection; the strand waits for
// nothing.
#pragma once

#include <atomic>
#include <filesystem>
#include <functional>
#include <memory>
#include <thread>

#include "daemon/error.h"

namespace torpor::daemon {

class Database;

class IntegrityCheck {
 public:
  // `damaged` is called at most once, on the check's own thread, with what was found first. A file
  // that cannot be opened now is not checked: who needs it meets the same fault.
  IntegrityCheck(const std::filesystem::path& file, std::function<void(const Error&)> damaged);
  // Stops the check where it is and joins its thread.
  ~IntegrityCheck();
  IntegrityCheck(const IntegrityCheck&) = delete;
  IntegrityCheck& operator=(const IntegrityCheck&) = delete;

  // Waits for its end.
  void finish();

 private:
  std::unique_ptr<Database> database_;  // null: could not be opened
  std::atomic<bool> unwanted_ = false;
  std::atomic<bool> finished_ = false;
  std::thread thread_;
};

}  // namespace torpor::daemon
