// The service's end of the import socket (import_channel.h): a Unix socket of mode 0660 beside the
// history. Strand only; the socket file goes with the object.
//
// The group may read the history, and so knows where the socket is; writing is for the service's
// own user and root, as the kernel names them (SO_PEERCRED). What comes is dated by the service's
// clock, and nothing is kept waiting without a bound: connections, the size of a frame, the time it
// may take.
#pragma once

#include <sys/types.h>
#include <unistd.h>

#include <chrono>
#include <cstddef>
#include <filesystem>
#include <functional>
#include <memory>
#include <vector>

#include <boost/asio/io_context.hpp>
#include <tl/expected.hpp>

#include "daemon/error.h"
#include "daemon/service/import_channel.h"

namespace torpor::daemon {

struct ImportLimits {
  uid_t owner = ::geteuid();  // may write, as root may
  // Served at a time: each may hold a frame of kLongestImportFrame.
  std::size_t connections = 4;
  // Being told that they are one too many, or may not write; any more are closed without a word.
  std::size_t refusals = 16;
  // From a frame's first byte to its last, and for its reply to be taken.
  std::chrono::milliseconds frame_time = std::chrono::seconds(10);
  // Between two frames: an importer that reads a large file is quick.
  std::chrono::milliseconds idle_time = std::chrono::seconds(60);
};

class ImportServer {
 public:
  // The reply, encoded, to what decode_request() found.
  using Handler = std::function<std::string(std::vector<InboxPayload>)>;

  // What comes is dated by `now`. Precondition: the writer's lock is held, so a socket file that
  // stands there is a dead one's.
  [[nodiscard]] static tl::expected<std::unique_ptr<ImportServer>, Error> listen(
      boost::asio::io_context& strand, const std::filesystem::path& socket,
      std::function<Instant()> now, Handler handler, const ImportLimits& limits = {});
  ~ImportServer();

 private:
  class Sessions;
  explicit ImportServer(std::shared_ptr<Sessions> sessions);
  std::shared_ptr<Sessions> sessions_;
};

}  // namespace torpor::daemon
