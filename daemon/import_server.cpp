#include "daemon/import_server.h"

#include <fmt/format.h>
#include <sys/stat.h>

#include <boost/asio/co_spawn.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/local/stream_protocol.hpp>
#include <boost/asio/read.hpp>
#include <boost/asio/redirect_error.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <boost/asio/write.hpp>

#include "daemon/history/little_endian.h"

namespace torpor::daemon {

namespace asio = boost::asio;
using asio::local::stream_protocol;
namespace {
constexpr auto kAcceptPause = std::chrono::seconds(1);
}  // namespace

class ImportServer::Sessions : public std::enable_shared_from_this<Sessions> {
 public:
  Sessions(asio::io_context& strand, std::filesystem::path path, Handler handler)
      : path_(std::move(path)), handler_(std::move(handler)), acceptor_(strand) {
    std::error_code ignored;  // most often there is none to remove
    std::filesystem::remove(path_, ignored);
    const stream_protocol::endpoint endpoint(path_.string());
    acceptor_.open(endpoint.protocol());
    acceptor_.bind(endpoint);
    if (::chmod(path_.c_str(), 0660) != 0) {
      throw boost::system::system_error(errno, boost::system::system_category());
    }
    acceptor_.listen();
  }

  void start() {
    asio::co_spawn(
        acceptor_.get_executor(), [self = shared_from_this()] { return self->accept(); },
        asio::detached);
  }

  void close() {
    boost::system::error_code ignored;  // closing twice is fine
    acceptor_.close(ignored);
    std::error_code gone;
    std::filesystem::remove(path_, gone);
  }

 private:
  asio::awaitable<void> accept() {
    asio::steady_timer pause(acceptor_.get_executor());
    while (acceptor_.is_open()) {
      boost::system::error_code error;
      stream_protocol::socket socket =
          co_await acceptor_.async_accept(asio::redirect_error(asio::use_awaitable, error));
      if (!error) {
        asio::co_spawn(acceptor_.get_executor(), serve(shared_from_this(), std::move(socket)),
                       asio::detached);
        continue;
      }
      // A client that left early, or no free file descriptor: not worth spinning over.
      pause.expires_after(kAcceptPause);
      co_await pause.async_wait(asio::redirect_error(asio::use_awaitable, error));
    }
  }

  static asio::awaitable<void> serve(std::shared_ptr<Sessions> self,
                                     stream_protocol::socket socket) {
    try {
      for (;;) {
        std::string length(sizeof(std::uint32_t), '\0');
        co_await asio::async_read(socket, asio::buffer(length), asio::use_awaitable);
        const auto size = number_at<std::uint32_t>(length, 0);
        if (size > kLongestImportFrame) co_return;
        std::string frame(size, '\0');
        co_await asio::async_read(socket, asio::buffer(frame), asio::use_awaitable);
        auto record = decode_request(frame);
        std::string reply;
        if (record) {
          reply = self->handler_(std::move(*record));
        } else {
          reply = encode_import_reply(tl::unexpected(record.error()));
        }
        std::string answer;
        put_number(answer, static_cast<std::uint32_t>(reply.size()));
        answer += reply;
        co_await asio::async_write(socket, asio::buffer(answer), asio::use_awaitable);
      }
    } catch (const boost::system::system_error&) {
      // The importer has finished or is gone; what it was told is written stays written.
    }
  }

  const std::filesystem::path path_;
  const Handler handler_;
  stream_protocol::acceptor acceptor_;
};

ImportServer::ImportServer(std::shared_ptr<Sessions> sessions) : sessions_(std::move(sessions)) {}

ImportServer::~ImportServer() { sessions_->close(); }

tl::expected<std::unique_ptr<ImportServer>, Error> ImportServer::listen(
    asio::io_context& strand, const std::filesystem::path& socket, Handler handler) {
  try {
    auto sessions = std::make_shared<Sessions>(strand, socket, std::move(handler));
    sessions->start();
    return std::unique_ptr<ImportServer>(new ImportServer(std::move(sessions)));
  } catch (const boost::system::system_error& error) {
    return tl::unexpected(
        Error{ErrorKind::io,
              fmt::format("cannot listen on {}: {}", socket.string(), error.code().message())});
  }
}

}  // namespace torpor::daemon
