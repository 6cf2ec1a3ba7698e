#include <fmt/core.h>

#include <algorithm>
#include <charconv>

#include "config/sections.h"
#include "config/shown_text.h"

namespace torpor::config {
namespace {

constexpr int kPlainPort = 1883;      // IANA: mqtt
constexpr int kEncryptedPort = 8883;  // IANA: secure-mqtt

struct HostPort {
  std::string host;  // without the brackets of an IPv6 address
  std::optional<int> port;
};

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

// HOST, HOST:PORT, [IPv6] or [IPv6]:PORT.
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

// Takes `prefix` off the front of `text`.
bool take_prefix(std::string_view& text, std::string_view prefix) {
  if (text.substr(0, prefix.size()) != prefix) return false;
  text.remove_prefix(prefix.size());
  return true;
}

// False when the address was refused.
bool read_url(const Field& field, BrokerSettings& broker) {
  constexpr std::string_view kExpected =
      "mqtt://HOST[:PORT] or mqtts://HOST[:PORT], an IPv6 address in brackets, no path";
  const auto url = field.word(kExpected);
  if (!url) return false;
  std::string_view rest = *url;
  const bool encrypted = take_prefix(rest, "mqtts://");
  if (!encrypted && !take_prefix(rest, "mqtt://")) {
    field.fault_expected(kExpected);
    return false;
  }
  if (rest.find('@') != std::string_view::npos) {
    field.fault(
        "found a user or password in the address; write the user as `user` and name "
        "a file that holds the password as `secret`");
    return false;
  }
  if (!rest.empty() && rest.back() == '/') rest.remove_suffix(1);
  const auto address = parse_host_port(rest);
  if (!address) {
    field.fault_expected(kExpected);
    return false;
  }
  broker.host = address->host;
  broker.encrypted = encrypted;
  broker.port = address->port.value_or(encrypted ? kEncryptedPort : kPlainPort);
  return true;
}

void read_file_name(Mapping& mapping, std::string_view key, std::string& file) {
  if (const auto field = mapping.find(key)) {
    file = field->word("the name of a file").value_or(std::string());
  }
}

void read_tls(const Field& field, TlsSettings& tls) {
  auto mapping = field.mapping("{authority: FILE} or {certificate: FILE, key: FILE}");
  if (!mapping) return;
  read_file_name(*mapping, "authority", tls.authority);
  read_file_name(*mapping, "certificate", tls.certificate);
  read_file_name(*mapping, "key", tls.key);
  const bool certificate = mapping->find("certificate").has_value();
  if (certificate != mapping->find("key").has_value()) {
    field.fault(certificate ? "found a certificate without its key; add `key: FILE`"
                            : "found a key without its certificate; add `certificate: FILE`");
  }
  mapping->refuse_unknown_keys();
}

}  // namespace

void read_broker(const Field& field, BrokerSettings& broker) {
  auto mapping = field.mapping("{url: mqtt://HOST:PORT, user: NAME, secret: FILE}");
  if (!mapping) return;
  const auto url = mapping->find("url");
  const bool url_good = !url || read_url(*url, broker);
  const auto user = mapping->find("user");
  if (user) broker.user = user->word("the user name at the broker").value_or(std::string());
  read_file_name(*mapping, "secret", broker.secret_file);
  if (const auto password = mapping->find("password")) {
    password->faults().add(password->node().key_at,
                           "broker: a password does not belong in this file; put it in a file that "
                           "only torpord may read and name that as `secret`");
  }
  const auto secret = mapping->find("secret");
  if (secret && !user) {
    secret->fault("found a password file without a user; add `user: NAME`");
  }
  if (const auto tls = mapping->find("tls")) {
    read_tls(*tls, broker.tls);
    if (url_good && !broker.encrypted) {
      tls->fault(
          "found encryption settings, but `url` is not encrypted; write mqtts:// in `url` "
          "or take `tls` away");
    }
  }
  mapping->refuse_unknown_keys();
}

void read_web(const Field& field, std::optional<WebSettings>& web) {
  auto mapping = field.mapping("{listen: HOST:PORT, address: http://NAME:PORT}");
  if (!mapping) return;
  WebSettings read;
  if (const auto listen = mapping->require("listen", "add e.g. `listen: 127.0.0.1:8457`")) {
    constexpr std::string_view kExpected = "HOST:PORT, e.g. 127.0.0.1:8457";
    if (const auto text = listen->word(kExpected)) {
      const auto address = parse_host_port(*text);
      if (!address || !address->port) listen->fault_expected(kExpected);
      read.listen = *text;
    }
  }
  if (const auto field_address = mapping->find("address")) {
    constexpr std::string_view kExpected =
        "the address another device types, e.g. http://cellar.lan:8457";
    if (const auto text = field_address->word(kExpected)) {
      std::string_view rest = *text;
      const bool scheme = take_prefix(rest, "http://") || take_prefix(rest, "https://");
      if (!scheme || !parse_host_port(rest.substr(0, rest.find('/')))) {
        field_address->fault_expected(kExpected);
      }
      read.address = *text;
    }
  }
  mapping->refuse_unknown_keys();
  web = std::move(read);
}

}  // namespace torpor::config
