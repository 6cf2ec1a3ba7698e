// Encrypted connections against a real broker with certificates of a private authority.
#include <doctest/doctest.h>

#include "daemon/link/link.h"
#include "daemon/link/tell_client.h"
#include "tests/daemon/link/broker.h"
#include "tests/daemon/link/certificates.h"
#include "tests/daemon/link/link_probe.h"
#include "tests/daemon/link/raw_client.h"

namespace torpor::testing {
namespace {

std::unique_ptr<daemon::Intake> start_intake(const daemon::BrokerAccess& access,
                                             HeardMessages& heard, States& states) {
  daemon::IntakeSettings settings;
  settings.access = access;
  settings.storeroom = "cellar";
  settings.topics = {"cellar/s1"};
  settings.retry = kQuickly;
  auto intake = daemon::Intake::start(
      settings,
      {[&heard](const daemon::IncomingMessage& message) { return heard.take(message); },
       [&states](bool connected, const std::string& reason) { states.add(connected, reason); }});
  REQUIRE(intake.has_value());
  return std::move(*intake);
}

BrokerOptions encrypted(const CertificateAuthority& authority, const IssuedCertificate& issued) {
  return {.tls = BrokerTls{authority.certificate(), issued.certificate, issued.key}};
}

std::string whose(const Broker& broker, const std::string& host = "127.0.0.1") {
  return "the certificate of the broker at " + host + ":" + std::to_string(broker.port());
}

TEST_CASE("a certificate of the right authority for the right name is taken") {
  CertificateAuthority authority("cellar authority");
  Broker broker(encrypted(authority, authority.issue("broker", "IP:127.0.0.1,DNS:localhost")));
  HeardMessages heard;
  States states;
  std::string host;
  SUBCASE("by address") { host = "127.0.0.1"; }
  SUBCASE("by name") { host = "localhost"; }
  daemon::BrokerAccess access;
  access.uri = broker.uri(host);
  access.authority = authority.certificate();
  const auto intake = start_intake(access, heard, states);
  REQUIRE_MESSAGE(states.wait_connected(), states.text());
  raw_publish(broker, {"cellar/s1", "21.5"});
  CHECK(heard.wait_for(1));
}

TEST_CASE("a certificate for another name is refused, and the names are said") {
  CertificateAuthority authority("cellar authority");
  Broker broker(encrypted(authority, authority.issue("broker", "DNS:barn.lan,IP:10.0.0.7")));
  HeardMessages heard;
  States states;
  daemon::BrokerAccess access;
  access.uri = broker.uri();
  access.authority = authority.certificate();
  const auto intake = start_intake(access, heard, states);
  CHECK_MESSAGE(states.wait_reason(whose(broker) +
                                   " is for barn.lan, 10.0.0.7, not for '127.0.0.1'; write that "
                                   "name in broker.url, or renew the certificate"),
                states.text());
  CHECK(states.connections() == 0);
}

TEST_CASE("a certificate of an unknown authority is refused") {
  CertificateAuthority authority("cellar authority");
  CertificateAuthority other("another authority");
  Broker broker(encrypted(authority, authority.issue("broker", "IP:127.0.0.1")));
  HeardMessages heard;
  States states;
  daemon::BrokerAccess access;
  access.uri = broker.uri();
  SUBCASE("another authority is configured") {
    access.authority = other.certificate();
    const auto intake = start_intake(access, heard, states);
    CHECK_MESSAGE(states.wait_reason(whose(broker) + " is not signed by the authority in " +
                                     other.certificate() +
                                     "; set broker.tls.authority to the one that signed it"),
                  states.text());
  }
  SUBCASE("none is configured") {
    const auto intake = start_intake(access, heard, states);
    CHECK_MESSAGE(states.wait_reason(whose(broker) +
                                     " is signed by an authority this system does not know; set "
                                     "broker.tls.authority to that authority's certificate"),
                  states.text());
  }
  CHECK(states.connections() == 0);
}

TEST_CASE("an expired certificate is refused, and the clock is mentioned") {
  CertificateAuthority authority("cellar authority");
  // Its validity ends when it begins.
  Broker broker(encrypted(authority, authority.issue("broker", "IP:127.0.0.1", 0)));
  HeardMessages heard;
  States states;
  daemon::BrokerAccess access;
  access.uri = broker.uri();
  access.authority = authority.certificate();
  const auto intake = start_intake(access, heard, states);
  CHECK_MESSAGE(states.wait_reason(whose(broker) +
                                   " has expired; renew it, or set this machine's clock if that is "
                                   "wrong"),
                states.text());
}

TEST_CASE("TLS to a broker without it, and none to a broker with it, are said") {
  CertificateAuthority authority("cellar authority");
  HeardMessages heard;
  States states;
  daemon::BrokerAccess access;
  access.authority = authority.certificate();
  SUBCASE("mqtts to a plain broker") {
    Broker broker;
    access.uri = "mqtts://127.0.0.1:" + std::to_string(broker.port());
    const auto intake = start_intake(access, heard, states);
    CHECK_MESSAGE(states.wait_reason("answers, but not with TLS; write mqtt:// if the broker is "
                                     "not encrypted"),
                  states.text());
  }
  SUBCASE("mqtt to an encrypted broker") {
    Broker broker(encrypted(authority, authority.issue("broker", "IP:127.0.0.1")));
    access.uri = "mqtt://127.0.0.1:" + std::to_string(broker.port());
    const auto intake = start_intake(access, heard, states);
    CHECK_MESSAGE(states.wait_reason("closed the connection without an answer; is it an MQTT "
                                     "broker, and does it want mqtts://?"),
                  states.text());
  }
}

TEST_CASE("a broker that wants a certificate of ours is named, and takes ours") {
  CertificateAuthority authority("cellar authority");
  BrokerOptions options = encrypted(authority, authority.issue("broker", "IP:127.0.0.1"));
  options.tls->clients_need_certificate = true;
  Broker broker(options);
  HeardMessages heard;
  States states;
  daemon::BrokerAccess access;
  access.uri = broker.uri();
  access.authority = authority.certificate();
  SUBCASE("without") {
    const auto intake = start_intake(access, heard, states);
    CHECK_MESSAGE(states.wait_reason("does it want a certificate of ours "
                                     "(broker.tls.certificate)?"),
                  states.text());
  }
  SUBCASE("with") {
    const IssuedCertificate ours = authority.issue("torpord", "DNS:torpord");
    access.certificate = ours.certificate;
    access.key = ours.key;
    const auto intake = start_intake(access, heard, states);
    CHECK_MESSAGE(states.wait_connected(), states.text());
  }
}

}  // namespace
}  // namespace torpor::testing
