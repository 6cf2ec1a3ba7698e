#include "daemon/web/web_server.h"

#include <fmt/format.h>
#include <spdlog/spdlog.h>

#include <atomic>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/network_v6.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/redirect_error.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/thread_pool.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/core/tcp_stream.hpp>
#include <boost/beast/http/empty_body.hpp>
#include <boost/beast/http/parser.hpp>
#include <boost/beast/http/read.hpp>
#include <boost/beast/http/string_body.hpp>
#include <boost/beast/http/write.hpp>
#include <list>
#include <map>
#include <optional>
#include <thread>
#include <utility>

#include "daemon/web/wrong_tokens.h"

namespace torpor::daemon {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = beast::http;
using asio::ip::tcp;
using Request = http::request<http::empty_body>;
using Response = http::response<http::string_body>;

namespace {

constexpr auto kWebAcceptPause = std::chrono::seconds(1);
// Between two log lines about wrong tokens.
constexpr auto kWrongTokenLogPause = std::chrono::minutes(1);

// Nothing but our own sheet, script and pictures; no frames, no forms, no other base.
constexpr const char* kContentPolicy =
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

std::string_view view_of(beast::string_view text) { return {text.data(), text.size()}; }

// What arrives over IPv4 at an IPv6 socket was asked for by the IPv4 address.
asio::ip::address plain_address(asio::ip::address address) {
  if (address.is_v6() && address.to_v6().is_v4_mapped()) {
    return asio::ip::make_address_v4(asio::ip::v4_mapped, address.to_v6());
  }
  return address;
}

std::string local_text(const tcp::socket& socket) {
  boost::system::error_code error;
  const tcp::endpoint local = socket.local_endpoint(error);
  if (error) return "";
  const asio::ip::address address = plain_address(local.address());
  const std::string text = address.to_string();
  return fmt::format(fmt::runtime(address.is_v6() ? "[{}]:{}" : "{}:{}"), text, local.port());
}

// Who is at the other end: an address, of IPv6 the 64 bits that one household has.
std::string sender_text(const tcp::socket& socket) {
  boost::system::error_code error;
  const tcp::endpoint remote = socket.remote_endpoint(error);
  if (error) return "an unknown address";
  const asio::ip::address address = plain_address(remote.address());
  if (address.is_v4()) return address.to_string();
  return asio::ip::make_network_v6(address.to_v6(), 64).canonical().to_string();
}

// RFC 9110, 12.5.3: a weight of 0 forbids it.
bool takes_gzip(std::string_view accepted) {
  const std::size_t at = accepted.find("gzip");
  if (at == std::string_view::npos) return false;
  const std::string_view rest = accepted.substr(at + 4, 6);
  return rest.find(";q=0") != 0 || rest.find(";q=0.") == 0;
}

// RFC 9110, 13.1.2: weak comparison, a list, or a star.
bool has_tag(std::string_view if_none_match, std::string_view tag) {
  return if_none_match == "*" || if_none_match.find(tag) != std::string_view::npos;
}

bool has_body(const Request& request) {
  if (request.count(http::field::transfer_encoding) > 0) return true;
  const auto length = request[http::field::content_length];
  return !length.empty() && length != "0";
}

Response answer_of(const Request& request, unsigned status, const std::string& type,
                   std::string body) {
  Response response{static_cast<http::status>(status), request.version()};
  response.set(http::field::content_type, type);
  response.set("Content-Security-Policy", kContentPolicy);
  response.set("X-Content-Type-Options", "nosniff");
  response.set("Referrer-Policy", "no-referrer");
  response.set(http::field::cache_control, "private, no-cache");
  response.body() = std::move(body);
  return response;
}

Response refusal_of(const Request& request, unsigned status, std::string_view heading,
                    std::string_view sentence) {
  Response response =
      answer_of(request, status, "text/html; charset=utf-8", plain_page(heading, sentence));
  response.keep_alive(false);
  return response;
}

}  // namespace

// Everything below runs on the socket thread, but for the pages.
class WebServer::House {
 public:
  House(const tcp::endpoint& endpoint, const GateSettings& gate, PageSource source,
        const WebLimits& limits)
      : limits_(limits),
        gate_(gate),
        pages_(std::move(source)),
        acceptor_(sockets_, endpoint),
        wrong_tokens_(limits.wrong_token_pause) {
    asio::co_spawn(sockets_, accept(), asio::detached);
    thread_ = std::thread([this] { sockets_.run(); });
  }
  ~House() {
    maker_.join();
    sockets_.stop();
    thread_.join();
  }
  House(const House&) = delete;
  House& operator=(const House&) = delete;

  void use(PageSource source) {
    asio::post(maker_,
               [this, source = std::move(source)]() mutable { pages_.use(std::move(source)); });
  }
  [[nodiscard]] int port() const { return acceptor_.local_endpoint().port(); }

 private:
  struct Guest {
    explicit Guest(tcp::socket socket)
        : sender(sender_text(socket)), stream(std::move(socket)), pause(stream.get_executor()) {}
    const std::string sender;
    beast::tcp_stream stream;
    bool waits = true;         // for a request: may be sent away for another
    bool sent_wrong = false;   // a wrong token, and waits for its answer: goes first
    asio::steady_timer pause;  // after a wrong token
    std::chrono::steady_clock::time_point since = std::chrono::steady_clock::now();
  };
  using Guests = std::list<Guest>;

  asio::awaitable<void> accept() {
    asio::steady_timer pause(sockets_);
    while (acceptor_.is_open()) {
      boost::system::error_code error;
      tcp::socket socket =
          co_await acceptor_.async_accept(asio::redirect_error(asio::use_awaitable, error));
      if (error) {
        // A client that left early, or no free file descriptor: not worth spinning over.
        pause.expires_after(kWebAcceptPause);
        co_await pause.async_wait(asio::redirect_error(asio::use_awaitable, error));
        continue;
      }
      if (guests_.size() >= limits_.connections && !send_one_away()) continue;
      guests_.emplace_back(std::move(socket));
      asio::co_spawn(sockets_, serve(std::prev(guests_.end())), asio::detached);
    }
  }

  // Whoever sent a wrong token, else one of those that hold most connections; of several the one
  // that has waited longest. False: all are being answered.
  bool send_one_away() {
    std::map<std::string_view, std::size_t> held;
    for (const Guest& guest : guests_) ++held[guest.sender];
    const auto goes_before = [&held](const Guest& a, const Guest& b) {
      if (a.sent_wrong != b.sent_wrong) return a.sent_wrong;
      if (held[a.sender] != held[b.sender]) return held[a.sender] > held[b.sender];
      return a.since < b.since;
    };
    auto first = guests_.end();
    for (auto guest = guests_.begin(); guest != guests_.end(); ++guest) {
      if (!guest->waits) continue;
      if (first == guests_.end() || goes_before(*guest, *first)) first = guest;
    }
    if (first == guests_.end()) return false;
    first->waits = false;
    first->stream.close();
    first->pause.cancel();
    return true;
  }

  asio::awaitable<void> serve(Guests::iterator guest) {
    try {
      co_await talk(*guest);
    } catch (const boost::system::system_error&) {
      // It left, was too slow, or was sent away.
    }
    guests_.erase(guest);
  }

  asio::awaitable<void> talk(Guest& guest) {
    beast::flat_buffer buffer(limits_.header_bytes);
    const std::string local = local_text(guest.stream.socket());
    for (int number = 1; number <= limits_.requests; ++number) {
      http::request_parser<http::empty_body> parser;
      parser.header_limit(static_cast<std::uint32_t>(limits_.header_bytes));
      guest.waits = true;
      guest.since = std::chrono::steady_clock::now();
      guest.stream.expires_after(limits_.patience);
      boost::system::error_code error;
      co_await http::async_read_header(guest.stream, buffer, parser,
                                       asio::redirect_error(asio::use_awaitable, error));
      guest.waits = false;
      if (error && !is_bad_request(error)) co_return;
      // Not one expression: GCC 12 destroys the temporaries of a conditional co_await twice.
      Response response = bad_request(parser.get(), error);
      if (!error) response = co_await answer(parser.get(), local, guest);
      if (number == limits_.requests) response.keep_alive(false);
      const bool stays = response.keep_alive() && parser.get().keep_alive();
      response.keep_alive(stays);
      co_await send(guest, response, parser.get().method() == http::verb::head);
      if (!stays) {
        boost::system::error_code ignored;  // it may have left already
        guest.stream.socket().shutdown(tcp::socket::shutdown_send, ignored);
        co_return;
      }
    }
  }

  // What a client said wrongly, as opposed to one that is gone or slow.
  static bool is_bad_request(const boost::system::error_code& error) {
    return error.category() == http::make_error_code(http::error::bad_method).category() &&
           error != http::error::end_of_stream && error != http::error::partial_message;
  }

  static Response bad_request(const Request& request, const boost::system::error_code& error) {
    if (error == http::error::header_limit || error == http::error::buffer_overflow) {
      return refusal_of(request, 431, "Too long", "The header of a request is 8 KiB at most.");
    }
    return refusal_of(request, 400, "Not understood", "That was no HTTP request.");
  }

  asio::awaitable<void> send(Guest& guest, Response& response, bool head) {
    guest.stream.expires_after(limits_.reading_time);
    response.content_length(response.body().size());
    if (response.result() == http::status::not_modified) {
      response.erase(http::field::content_length);
    }
    http::response_serializer<http::string_body> serializer(response);
    if (head || response.result() == http::status::not_modified) {
      co_await http::async_write_header(guest.stream, serializer, asio::use_awaitable);
    } else {
      co_await http::async_write(guest.stream, serializer, asio::use_awaitable);
    }
  }

  asio::awaitable<Response> answer(const Request& request, const std::string& local, Guest& guest) {
    if (std::distance(request.begin(), request.end()) >
        static_cast<std::ptrdiff_t>(limits_.header_fields)) {
      co_return refusal_of(request, 431, "Too many", "A request has 64 header fields at most.");
    }
    if (request.count(http::field::host) > 1) {
      // RFC 9112, 3.2: a server must answer so.
      co_return refusal_of(request, 400, "Not understood", "A request names one Host.");
    }
    if (request.method() != http::verb::get && request.method() != http::verb::head) {
      Response response = refusal_of(request, 405, "Only to be read",
                                     "These pages are only read; tell torpor over MQTT.");
      response.set(http::field::allow, "GET, HEAD");
      co_return response;
    }
    if (has_body(request)) {
      co_return refusal_of(request, 413, "No content wanted", "A request here has no content.");
    }
    const Passage passage = gate_.judge({view_of(request[http::field::host]),
                                         view_of(request[http::field::authorization]),
                                         view_of(request[http::field::cookie]), local});
    switch (passage) {
      case Passage::wrong_host:
        co_return refusal_of(request, 421, "Not this name",
                             "These pages are shown under the address in the configuration (web: "
                             "address) and under this computer's own numbers.");
      case Passage::wrong_token:
        co_await keep_waiting(guest);
        co_return ask_for_token(request);
      case Passage::no_token:
        co_return ask_for_token(request);
      case Passage::open:
      case Passage::entered:
        break;
    }
    Response response = co_await page_for(request);
    if (passage == Passage::entered) response.set(http::field::set_cookie, gate_.set_cookie());
    co_return response;
  }

  // A wrong token waits, but takes no place from others: it may be sent away meanwhile, and the
  // pause then ends by an exception.
  asio::awaitable<void> keep_waiting(Guest& guest) {
    const auto now = std::chrono::steady_clock::now();
    guest.pause.expires_after(wrong_tokens_.note(guest.sender, now));
    if (!reporting_) {
      reporting_ = true;
      asio::co_spawn(sockets_, report_wrong_tokens(), asio::detached);
    }
    guest.waits = true;
    guest.sent_wrong = true;
    co_await guest.pause.async_wait(asio::use_awaitable);
    guest.waits = false;
    guest.sent_wrong = false;
  }

  // Once a minute for as long as they come.
  asio::awaitable<void> report_wrong_tokens() {
    asio::steady_timer pause(sockets_);
    while (const auto line = wrong_tokens_.take_report(std::chrono::steady_clock::now())) {
      spdlog::warn("{}", *line);
      pause.expires_after(kWrongTokenLogPause);
      co_await pause.async_wait(asio::use_awaitable);
    }
    reporting_ = false;
  }

  static Response ask_for_token(const Request& request) {
    Response response =
        refusal_of(request, 401, "The token, please",
                   "Enter any name, and as password the token that stands in the file named as "
                   "web: token in the configuration. Once is enough for a season.");
    response.set(http::field::www_authenticate, "Basic realm=\"torpor\", charset=\"UTF-8\"");
    return response;
  }

  asio::awaitable<Response> page_for(const Request& request) {
    if (waiting_ >= limits_.pages_waiting) {
      Response busy = refusal_of(request, 503, "Too many at once", "Try again in a moment.");
      busy.set(http::field::retry_after, "5");
      co_return busy;
    }
    ++waiting_;
    std::shared_ptr<const WebPage> page;
    try {
      page = co_await asio::co_spawn(maker_, make(std::string(view_of(request.target()))),
                                     asio::use_awaitable);
    } catch (...) {
      --waiting_;
      throw;
    }
    --waiting_;
    const bool packed =
        !page->packed.empty() && takes_gzip(view_of(request[http::field::accept_encoding]));
    const bool known =
        page->status == 200 && has_tag(view_of(request[http::field::if_none_match]), page->tag);
    Response response =
        answer_of(request, known ? 304U : static_cast<unsigned>(page->status), page->type,
                  known    ? std::string()
                  : packed ? page->packed
                           : page->body);
    response.keep_alive(true);
    response.set(http::field::etag, page->tag);
    response.set(http::field::vary, "Accept-Encoding");
    if (packed && !known) response.set(http::field::content_encoding, "gzip");
    co_return response;
  }

  // On the maker's thread.
  asio::awaitable<std::shared_ptr<const WebPage>> make(std::string path) {
    co_return pages_.page(path);
  }

  const WebLimits limits_;
  const Gate gate_;
  Pages pages_;  // maker thread only
  asio::io_context sockets_{1};
  asio::thread_pool maker_{1};
  tcp::acceptor acceptor_;
  Guests guests_;
  WrongTokens wrong_tokens_;
  bool reporting_ = false;
  std::size_t waiting_ = 0;  // pages asked of the maker
  std::thread thread_;
};

WebServer::WebServer(std::unique_ptr<House> house) : house_(std::move(house)) {}
WebServer::~WebServer() = default;

void WebServer::use(PageSource source) { house_->use(std::move(source)); }
int WebServer::port() const { return house_->port(); }

tl::expected<std::unique_ptr<WebServer>, Error> WebServer::start(const std::string& host, int port,
                                                                 const GateSettings& gate,
                                                                 PageSource source,
                                                                 WebLimits limits) {
  try {
    asio::io_context resolving;
    tcp::resolver resolver(resolving);
    const auto found = resolver.resolve(host, std::to_string(port), tcp::resolver::passive);
    return std::unique_ptr<WebServer>(new WebServer(
        std::make_unique<House>(found.begin()->endpoint(), gate, std::move(source), limits)));
  } catch (const boost::system::system_error& error) {
    return tl::unexpected(
        Error{ErrorKind::io, fmt::format("the web pages cannot listen on {} port {}: {}; choose "
                                         "another address or port as web: listen",
                                         host, port, error.code().message())});
  }
}

}  // namespace torpor::daemon
