// The segment that is being written: one file, one write(2) per record. After a failed append the
// file ends where it ended before, so that no torn record ever stands before a later good one.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <string>

#include <tl/expected.hpp>

#include "daemon/error.h"

namespace torpor::daemon {

class SegmentFile {
 public:
  // Makes the file; with `durable` each append reaches the disk before it returns, and so does the
  // file's name. A file of that name can only hold what was never acknowledged: it is emptied.
  [[nodiscard]] static tl::expected<std::unique_ptr<SegmentFile>, Error> create(
      const std::filesystem::path& path, bool durable);
  ~SegmentFile();
  SegmentFile(const SegmentFile&) = delete;
  SegmentFile& operator=(const SegmentFile&) = delete;

  // The first record is written together with the segment's header.
  [[nodiscard]] tl::expected<void, Error> append(const std::string& record);

  // A failed append could not be taken back: the file may hold a record that nobody was promised.
  [[nodiscard]] bool holds_ghost() const { return holds_ghost_; }
  [[nodiscard]] std::uint64_t bytes() const { return bytes_; }
  [[nodiscard]] const std::filesystem::path& path() const { return path_; }

 private:
  SegmentFile(std::filesystem::path path, int fd, bool durable);
  [[nodiscard]] tl::expected<void, Error> write_whole(const std::string& bytes);
  [[nodiscard]] tl::expected<void, Error> sync();

  const std::filesystem::path path_;
  const int fd_;
  const bool durable_;
  std::uint64_t bytes_ = 0;
  bool holds_ghost_ = false;
};

// Makes the names in a folder survive a power cut.
[[nodiscard]] tl::expected<void, Error> sync_folder(const std::filesystem::path& folder);

}  // namespace torpor::daemon
