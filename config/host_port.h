// Network addresses as people write them in the configuration.
#pragma once

#include <optional>
#include <string>
#include <string_view>

namespace torpor::config {

struct HostPort {
  std::string host;  // without the brackets of an IPv6 address
  std::optional<int> port;
};
// HOST, HOST:PORT, [IPv6] or [IPv6]:PORT; only their form is checked. nullopt: none of these.
[[nodiscard]] std::optional<HostPort> parse_host_port(std::string_view text);

// Takes `prefix` off the front of `text`; false: it does not stand there.
[[nodiscard]] bool take_prefix(std::string_view& text, std::string_view prefix);

// True if only this computer itself can reach the host: localhost, 127.x.x.x, ::1.
[[nodiscard]] bool is_loopback(std::string_view host);

}  // namespace torpor::config
