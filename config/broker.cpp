#include <fmt/core.h>

#include "config/host_port.h"
#include "config/sections.h"
#include "config/shown_text.h"

namespace torpor::config {
namespace {

constexpr int kPlainPort = 1883;      // IANA: mqtt
constexpr int kEncryptedPort = 8883;  // IANA: secure-mqtt

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

}  // namespace torpor::config
