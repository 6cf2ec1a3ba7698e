#include "config/host_port.h"

#include <algorithm>
#include <charconv>

namespace torpor::config {
namespace {

std::optional<int> parse_port(std::string_view text) {
  int port = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), port);
  if (error != std::errc() || end != text.data() + text.size()) return std::nullopt;
  if (port < 1 || port > 65535 || text.front() == '-') return std::nullopt;
  return port;
}

bool is_host_name(std::string_view host) {
  return !host.empty() && host.size() <= 253 && host.front() != '-' &&
         std::all_of(host.begin(), host.end(), [](char c) {
           return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
                  c == '-' || c == '.' || c == '_';
         });
}

// Only the letters of an address: the resolver judges the rest when it connects.
bool is_ipv6_like(std::string_view host) {
  return host.find(':') != std::string_view::npos &&
         host.find_first_not_of("0123456789abcdefABCDEF:.") == std::string_view::npos;
}

}  // namespace

std::optional<HostPort> parse_host_port(std::string_view text) {
  std::string_view host = text;
  std::string_view rest;
  if (!text.empty() && text.front() == '[') {
    const std::size_t close = text.find(']');
    if (close == std::string_view::npos) return std::nullopt;
    host = text.substr(1, close - 1);
    rest = text.substr(close + 1);
    if (!is_ipv6_like(host)) return std::nullopt;
  } else {
    const std::size_t colon = text.find(':');
    host = text.substr(0, colon);
    if (colon != std::string_view::npos) rest = text.substr(colon);
    if (!is_host_name(host)) return std::nullopt;
  }
  if (rest.empty()) return HostPort{std::string(host), std::nullopt};
  if (rest.front() != ':' || rest.size() < 2) return std::nullopt;
  const auto port = parse_port(rest.substr(1));
  if (!port) return std::nullopt;
  return HostPort{std::string(host), port};
}

bool take_prefix(std::string_view& text, std::string_view prefix) {
  if (text.substr(0, prefix.size()) != prefix) return false;
  text.remove_prefix(prefix.size());
  return true;
}

bool is_loopback(std::string_view host) {
  return host == "localhost" || host == "::1" ||
         (host.starts_with("127.") &&
          host.find_first_not_of("0123456789.") == std::string_view::npos);
}

}  // namespace torpor::config
