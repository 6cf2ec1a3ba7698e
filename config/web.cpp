#include "config/host_port.h"
#include "config/sections.h"

namespace torpor::config {

void read_web(const Field& field, std::optional<WebSettings>& web) {
  auto mapping = field.mapping("{listen: HOST:PORT, address: http://NAME:PORT, token: FILE}");
  if (!mapping) return;
  WebSettings read;
  if (const auto listen = mapping->require("listen", "add e.g. `listen: 127.0.0.1:8457`")) {
    constexpr std::string_view kExpected = "HOST:PORT, e.g. 127.0.0.1:8457";
    if (const auto text = listen->word(kExpected)) {
      const auto address = parse_host_port(*text);
      if (!address || !address->port) {
        listen->fault_expected(kExpected);
      } else {
        read.host = address->host;
        read.port = *address->port;
      }
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
  if (const auto token = mapping->find("token")) {
    read.token_file = token->word("the name of a file that holds the token").value_or("");
  } else if (const auto listen = mapping->find("listen");
             listen && !read.host.empty() && !is_loopback(read.host)) {
    listen->fault(
        "others can reach this address, so a token is needed; add `token: FILE`, a file whose "
        "first "
        "line is at least 16 characters long, or listen on 127.0.0.1");
  }
  mapping->refuse_unknown_keys();
  web = std::move(read);
}

}  // namespace torpor::config
