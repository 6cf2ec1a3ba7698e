#include "daemon/service/broker_access.h"

#include <fmt/format.h>

namespace torpor::daemon {

BrokerAccess broker_access(const Loaded& loaded) {
  const config::BrokerSettings& broker = loaded.settings.broker;
  const bool bracketed = broker.host.find(':') != std::string::npos;  // IPv6, RFC 3986
  BrokerAccess access;
  access.uri = fmt::format("{}://{}{}{}:{}", broker.encrypted ? "mqtts" : "mqtt",
                           bracketed ? "[" : "", broker.host, bracketed ? "]" : "", broker.port);
  access.user = broker.user;
  access.password = loaded.secret;
  access.authority = broker.tls.authority;
  access.certificate = broker.tls.certificate;
  access.key = broker.tls.key;
  return access;
}

}  // namespace torpor::daemon
