#include "daemon/service/import_server.h"

#include <fmt/format.h>
#include <spdlog/spdlog.h>
#include <sys/socket.h>
#include <sys/stat.h>

#include <boost/asio/co_spawn.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/local/stream_protocol.hpp>
#include <boost/asio/read.hpp>
#include <boost/asio/redirect_error.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <boost/asio/write.hpp>

#include <array>
#include <optional>

#include "daemon/history/little_endian.h"

namespace torpor::daemon {

namespace asio = boost::asio;
using asio::local::stream_protocol;
namespace {
constexpr auto kAcceptPause = std::chrono::seconds(1);
// For a refusal to be read.
constexpr auto kRefusalTime = std::chrono::seconds(2);
// Between two log lines about refused importers.
constexpr auto kRefusalLogPause = std::chrono::minutes(1);

// Who connected; nullopt: the kernel does not say, and so nobody.
std::optional<uid_t> peer_of(stream_protocol::socket& socket) {
  ucred peer{};
  socklen_t size = sizeof peer;
  if (::getsockopt(socket.native_handle(), SOL_SOCKET, SO_PEERCRED, &peer, &size) != 0) {
    return std::nullopt;
  }
  return peer.uid;
}

std::string framed(const std::string& reply) {
  std::string frame;
  put_number(frame, static_cast<std::uint32_t>(reply.size()));
  return frame + reply;
}
}  // namespace

class ImportServer::Sessions : public std::enable_shared_from_this<Sessions> {
 public:
  Sessions(asio::io_context& strand, std::filesystem::path path, std::function<Instant()> now,
           Handler handler, const ImportLimits& limits)
      : path_(std::move(path)),
        now_(std::move(now)),
        handler_(std::move(handler)),
        limits_(limits),
        acceptor_(strand) {
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
        receive(std::make_shared<Guest>(std::move(socket)));
        continue;
      }
      // A client that left early, or no free file descriptor: not worth spinning over.
      pause.expires_after(kAcceptPause);
      co_await pause.async_wait(asio::redirect_error(asio::use_awaitable, error));
    }
  }

  // A connection and what ends it when it is slow.
  struct Guest : std::enable_shared_from_this<Guest> {
    explicit Guest(stream_protocol::socket connected)
        : socket(std::move(connected)), timer(socket.get_executor()) {}

    void allow(std::chrono::milliseconds time) {
      timer.expires_after(time);
      timer.async_wait([guest = shared_from_this()](const boost::system::error_code& error) {
        // Allowed more time after this was already on its way: not yet.
        if (error || guest->timer.expiry() > std::chrono::steady_clock::now()) return;
        boost::system::error_code ignored;  // it may be gone already
        guest->socket.close(ignored);
      });
    }

    stream_protocol::socket socket;
    asio::steady_timer timer;
  };

  void receive(std::shared_ptr<Guest> guest) {
    const auto peer = peer_of(guest->socket);
    std::string refusal;
    if (!peer || (*peer != limits_.owner && *peer != 0)) {
      refusal =
          "only root and the user that torpord runs as may add to the history; run it with sudo";
      log_refusal(peer);
    } else if (served_ >= limits_.connections) {
      refusal = fmt::format("{} imports are running already; try again when one is done", served_);
    }
    const bool refused = !refusal.empty();
    if (refused && refusals_ >= limits_.refusals) return;
    ++(refused ? refusals_ : served_);
    asio::co_spawn(
        acceptor_.get_executor(),
        [self = shared_from_this(), guest = std::move(guest), text = std::move(refusal),
         refused]() -> asio::awaitable<void> {
          try {
            if (refused) {
              co_await self->refuse(*guest, text);
            } else {
              co_await self->serve(*guest);
            }
          } catch (const boost::system::system_error&) {
            // The importer has finished, is gone or was too slow. What it has written stays.
          }
          guest->timer.cancel();
          --(refused ? self->refusals_ : self->served_);
        },
        asio::detached);
  }

  void log_refusal(const std::optional<uid_t>& peer) {
    const auto now = std::chrono::steady_clock::now();
    ++refused_;
    if (now < quiet_until_) return;
    spdlog::warn("{} import(s) refused: user {} may only read the history", refused_,
                 peer ? fmt::format("{}", *peer) : "unknown");
    refused_ = 0;
    quiet_until_ = now + kRefusalLogPause;
  }

  // Reads on for a moment: closing on what was not read would take the sentence back.
  asio::awaitable<void> refuse(Guest& guest, const std::string& text) {
    guest.allow(kRefusalTime);
    const std::string answer =
        framed(encode_import_reply(tl::unexpected(Error{ErrorKind::refused, text})));
    co_await asio::async_write(guest.socket, asio::buffer(answer), asio::use_awaitable);
    guest.socket.shutdown(stream_protocol::socket::shutdown_send);
    std::array<char, 4096> unread{};
    for (std::size_t read = 0; read < kLongestImportFrame;) {
      read += co_await guest.socket.async_read_some(asio::buffer(unread), asio::use_awaitable);
    }
  }

  asio::awaitable<void> serve(Guest& guest) {
    for (;;) {
      std::string length(sizeof(std::uint32_t), '\0');
      guest.allow(limits_.idle_time);
      co_await asio::async_read(guest.socket, asio::buffer(length, 1), asio::use_awaitable);
      guest.allow(limits_.frame_time);
      co_await asio::async_read(guest.socket, asio::buffer(length.data() + 1, length.size() - 1),
                                asio::use_awaitable);
      const auto size = number_at<std::uint32_t>(length, 0);
      if (size > kLongestImportFrame) co_return;
      std::string frame(size, '\0');
      co_await asio::async_read(guest.socket, asio::buffer(frame), asio::use_awaitable);
      guest.timer.cancel();  // the work is ours
      auto record = decode_request(frame, now_());
      const std::string answer =
          framed(record ? handler_(std::move(*record))
                        : encode_import_reply(tl::unexpected(record.error())));
      guest.allow(limits_.frame_time);
      co_await asio::async_write(guest.socket, asio::buffer(answer), asio::use_awaitable);
    }
  }

  const std::filesystem::path path_;
  const std::function<Instant()> now_;
  const Handler handler_;
  const ImportLimits limits_;
  stream_protocol::acceptor acceptor_;
  std::size_t served_ = 0, refusals_ = 0;  // connections of each kind
  std::uint64_t refused_ = 0;              // not yet logged
  std::chrono::steady_clock::time_point quiet_until_;
};

ImportServer::ImportServer(std::shared_ptr<Sessions> sessions) : sessions_(std::move(sessions)) {}

ImportServer::~ImportServer() { sessions_->close(); }

tl::expected<std::unique_ptr<ImportServer>, Error> ImportServer::listen(
    asio::io_context& strand, const std::filesystem::path& socket, std::function<Instant()> now,
    Handler handler, const ImportLimits& limits) {
  try {
    auto sessions =
        std::make_shared<Sessions>(strand, socket, std::move(now), std::move(handler), limits);
    sessions->start();
    return std::unique_ptr<ImportServer>(new ImportServer(std::move(sessions)));
  } catch (const boost::system::system_error& error) {
    return tl::unexpected(
        Error{ErrorKind::io,
              fmt::format("cannot listen on {}: {}", socket.string(), error.code().message())});
  }
}

}  // namespace torpor::daemon
