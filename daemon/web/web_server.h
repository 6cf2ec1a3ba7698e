// Shows the pages over HTTP, read-only. Two threads of its own: one for the sockets, one that makes
// pages. A slow page, a slow reader or a crowd at the door therefore never delays the strand that
// watches: the two share nothing but the history's file.
//
// Bounded: connections, header size and fields, the time a request and an answer may take, requests
// of one connection, pages that wait to be made. Only GET and HEAD exist, and no request has a
// body.
#pragma once

#include <chrono>
#include <cstddef>
#include <memory>
#include <string>

#include <tl/expected.hpp>

#include "daemon/error.h"
#include "daemon/web/gate.h"
#include "daemon/web/pages.h"

namespace torpor::daemon {

struct WebLimits {
  // A household's phones open 6 connections each; a full house drops the one that is idle longest.
  std::size_t connections = 64;
  // Requests of phones have 0.5 to 1 KiB of header.
  std::size_t header_bytes = std::size_t{8} * 1024;
  std::size_t header_fields = 64;
  // For a whole header to arrive, also between two requests; half-open ones end so.
  std::chrono::milliseconds patience = std::chrono::seconds(15);
  // For a whole answer to be taken: 50 kB at 14 kbit/s.
  std::chrono::milliseconds reading_time = std::chrono::seconds(30);
  int requests = 100;  // of one connection
  std::size_t pages_waiting = 32;
  // Before the first wrong token of an address is answered (wrong_tokens.h); whoever waits so is
  // the first to go when the house is full.
  std::chrono::milliseconds wrong_token_pause = std::chrono::seconds(1);
};

class WebServer {
 public:
  // `host` without brackets; port 0: a free one. Error: kind io, what to do.
  [[nodiscard]] static tl::expected<std::unique_ptr<WebServer>, Error> start(
      const std::string& host, int port, const GateSettings& gate, PageSource source,
      WebLimits limits = {});
  // Ends every connection and joins both threads; a page that is being made is waited for.
  ~WebServer();
  WebServer(const WebServer&) = delete;
  WebServer& operator=(const WebServer&) = delete;

  // Any thread: pages made from now on.
  void use(PageSource source);
  [[nodiscard]] int port() const;

 private:
  class House;
  explicit WebServer(std::unique_ptr<House> house);
  std::unique_ptr<House> house_;
};

}  // namespace torpor::daemon
