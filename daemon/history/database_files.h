// A database of SQLite as files: what it puts beside its own goes with it.
#pragma once

#include <filesystem>
#include <utility>

namespace torpor::daemon {

// With its log and journal. What cannot be removed stays, and is met by who makes it anew.
void remove_database(const std::filesystem::path& file);

// A database of our own that goes with the scope.
class ScratchDatabase {
 public:
  // One that an earlier run left there is removed.
  explicit ScratchDatabase(std::filesystem::path path) : path_(std::move(path)) {
    remove_database(path_);
  }
  ~ScratchDatabase() { remove_database(path_); }
  ScratchDatabase(const ScratchDatabase&) = delete;
  ScratchDatabase& operator=(const ScratchDatabase&) = delete;
  [[nodiscard]] const std::filesystem::path& path() const { return path_; }

 private:
  const std::filesystem::path path_;
};

}  // namespace torpor::daemon
