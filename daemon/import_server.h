// The service's end of the import socket (import_channel.h): a Unix socket of mode 0660 beside the
// history. Strand only; the socket file goes with the object.
#pragma once

#include <filesystem>
#include <functional>
#include <memory>
#include <vector>

#include <boost/asio/io_context.hpp>
#include <tl/expected.hpp>

#include "daemon/error.h"
#include "daemon/import_channel.h"

namespace torpor::daemon {

class ImportServer {
 public:
  // The reply, encoded, to what decode_request() found.
  using Handler = std::function<std::string(std::vector<InboxPayload>)>;

  // Precondition: the writer's lock is held, so a socket file that stands there is a dead one's.
  [[nodiscard]] static tl::expected<std::unique_ptr<ImportServer>, Error> listen(
      boost::asio::io_context& strand, const std::filesystem::path& socket, Handler handler);
  ~ImportServer();

 private:
  class Sessions;
  explicit ImportServer(std::shared_ptr<Sessions> sessions);
  std::shared_ptr<Sessions> sessions_;
};

}  // namespace torpor::daemon
