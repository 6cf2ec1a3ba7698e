#include "daemon/link/broker_address.h"

#include <charconv>
#include <system_error>

#include <fmt/core.h>

namespace torpor::daemon {
namespace {

// IANA's registered ports of mqtt and secure-mqtt.
constexpr int kPlainPort = 1883;
constexpr int kEncryptedPort = 8883;

tl::unexpected<Error> not_an_address(std::string_view uri, std::string_view what) {
  return tl::unexpected(
      Error{ErrorKind::invalid,
            fmt::format("broker address '{}': {}; expected mqtt://host:port or mqtts://host:port",
                        uri, what)});
}

}  // namespace

std::string BrokerAddress::text() const {
  return host.find(':') == std::string::npos ? fmt::format("{}:{}", host, port)
                                             : fmt::format("[{}]:{}", host, port);
}

tl::expected<BrokerAddress, Error> read_broker_address(std::string_view uri) {
  BrokerAddress address;
  std::string_view rest = uri;
  if (rest.starts_with("mqtt://")) {
    rest.remove_prefix(7);
  } else if (rest.starts_with("mqtts://")) {
    rest.remove_prefix(8);
    address.encrypted = true;
  } else {
    return not_an_address(uri, "it does not begin with mqtt:// or mqtts://");
  }
  address.port = address.encrypted ? kEncryptedPort : kPlainPort;

  std::string_view port;
  if (rest.starts_with('[')) {
    const auto end = rest.find(']');
    if (end == std::string_view::npos) return not_an_address(uri, "a ']' is missing");
    address.host = rest.substr(1, end - 1);
    rest.remove_prefix(end + 1);
    if (!rest.empty() && rest.front() != ':') return not_an_address(uri, "text after the ']'");
    port = rest;
  } else {
    const auto colon = rest.find(':');
    address.host = rest.substr(0, colon);
    if (colon != std::string_view::npos) port = rest.substr(colon);
  }
  if (address.host.empty()) return not_an_address(uri, "the host is missing");
  if (address.host.find_first_of("/@ ") != std::string::npos) {
    return not_an_address(uri, "the host holds a '/', '@' or space");
  }
  if (!port.empty()) {
    port.remove_prefix(1);
    const auto [end, fault] = std::from_chars(port.data(), port.data() + port.size(), address.port);
    if (fault != std::errc() || end != port.data() + port.size() || address.port < 1 ||
        address.port > 65535) {
      return not_an_address(uri, fmt::format("'{}' is not a port between 1 and 65535", port));
    }
  }
  return address;
}

}  // namespace torpor::daemon
