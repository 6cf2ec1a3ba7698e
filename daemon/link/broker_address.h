// Where the broker is: mqtt://host:port or mqtts://host:port taken apart once, at start.
#pragma once

#include <string>
#include <string_view>

#include <tl/expected.hpp>

#include "daemon/error.h"

namespace torpor::daemon {

struct BrokerAddress {
  std::string host;  // a name or an address; IPv6 without brackets
  int port = 1883;
  bool encrypted = false;  // mqtts://

  // For messages: "cellar.lan:1883", "[::1]:1883".
  [[nodiscard]] std::string text() const;
};

// The port may be left out: 1883 for mqtt, 8883 for mqtts (IANA). Error kind: invalid.
[[nodiscard]] tl::expected<BrokerAddress, Error> read_broker_address(std::string_view uri);

}  // namespace torpor::daemon
