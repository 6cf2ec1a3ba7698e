#include <doctest/doctest.h>

#include "tests/config/faults_of.h"

namespace torpor::config {
namespace {

BrokerSettings broker(const std::string& section) {
  const SettingsResult result = read_settings("storeroom: c\nbroker: " + section + "\n", "f");
  CAPTURE(section);
  CHECK(brief(result.faults) == "");
  return result.settings.broker;
}

std::string broker_faults(const std::string& section) {
  return faults_of("storeroom: c\nbroker: " + section + "\n");
}

TEST_CASE("a broker address is a scheme, a host and perhaps a port") {
  struct {
    std::string url;
    std::string host;
    int port;
    bool encrypted;
  } const rows[] = {
      {"mqtt://127.0.0.1:1883", "127.0.0.1", 1883, false},
      {"mqtt://broker.lan", "broker.lan", 1883, false},
      {"mqtt://broker.lan/", "broker.lan", 1883, false},
      {"mqtts://broker.lan", "broker.lan", 8883, true},
      {"mqtts://broker.lan:1", "broker.lan", 1, true},
      {"mqtt://my_board-2:65535", "my_board-2", 65535, false},
      {"\"mqtt://[::1]\"", "::1", 1883, false},
      {"\"mqtts://[fe80::1]:8884\"", "fe80::1", 8884, true},
  };
  for (const auto& row : rows) {
    const BrokerSettings read = broker("{url: " + row.url + "}");
    CAPTURE(row.url);
    CHECK(read.host == row.host);
    CHECK(read.port == row.port);
    CHECK(read.encrypted == row.encrypted);
  }
}

TEST_CASE("an address that no broker can have is refused") {
  for (const std::string url :
       {"http://x", "x:1883", "MQTT://x", "mqtt://", "mqtt://x:", "mqtt://x:0", "mqtt://x:65536",
        "mqtt://x:18a", "mqtt://x:-1", "mqtt://x:+1", "mqtt://x/topic", "mqtt://a b", "mqtt://::1",
        "mqtt://[::1", "mqtt://[broker]", "mqtt://[::1]x", "mqtt://-x"}) {
    CAPTURE(url);
    CHECK(broker_faults("{url: \"" + url + "\"}") ==
          "2:15: broker.url: found `" + url +
              "`; expected mqtt://HOST[:PORT] or mqtts://HOST[:PORT], an IPv6 address in brackets, "
              "no path\n");
  }
}

TEST_CASE("a broker left away is the one on this machine") {
  const BrokerSettings read = read_settings("storeroom: c\n", "f").settings.broker;
  CHECK(read.host == "127.0.0.1");
  CHECK(read.port == 1883);
  CHECK_FALSE(read.encrypted);
  CHECK(read.user.empty());
}

TEST_CASE("user, secret and encryption files are kept as written") {
  const BrokerSettings read = broker(
      "{url: mqtts://b, user: °u, secret: s.txt, tls: {authority: a.pem, certificate: c.pem, key: "
      "k.pem}}");
  CHECK(read.user == "°u");
  CHECK(read.secret_file == "s.txt");
  CHECK(read.tls.authority == "a.pem");
  CHECK(read.tls.certificate == "c.pem");
  CHECK(read.tls.key == "k.pem");
}

TEST_CASE("broker settings that cannot go together are told") {
  const Faulty rows[] = {
      {"{url: mqtt://me:pw@b}",
       "2:15: broker.url: found a user or password in the address; write the user as `user` and "
       "name "
       "a file that holds the password as `secret`\n"},
      {"{url: mqtt://b, secret: f}",
       "2:33: broker.secret: found a password file without a user; add `user: NAME`\n"},
      {"{user: °, password: pw}",
       "2:19: broker: a password does not belong in this file; put it in a file that only torpord "
       "may "
       "read and name that as `secret`\n"},
      {"{url: mqtt://b, tls: {authority: f}}",
       "2:30: broker.tls: found encryption settings, but `url` is not encrypted; write mqtts:// in "
       "`url` or take `tls` away\n"},
      {"{url: mqtts://b, tls: {key: f}}",
       "2:31: broker.tls: found a key without its certificate; add `certificate: FILE`\n"},
      {"{url: mqtts://b, tls: {certificate: f}}",
       "2:31: broker.tls: found a certificate without its key; add `key: FILE`\n"},
      {"{url: mqtts://b, tls: {authorty: f}}",
       "2:32: broker.tls: `authorty` is not a key here; did you mean `authority`?\n"},
      {"{url: [], user: {}, secret: }",
       "2:15: broker.url: found a list; expected mqtt://HOST[:PORT] or mqtts://HOST[:PORT], an "
       "IPv6 "
       "address in brackets, no path\n"
       "2:25: broker.user: found a mapping; expected the user name at the broker\n"
       "2:29: broker.secret: found nothing; expected the name of a file\n"},
      {"mqtt://b",
       "2:9: broker: found `mqtt://b`; expected {url: mqtt://HOST:PORT, user: NAME, secret: "
       "FILE}\n"},
      {"{url: mqtt://b, user: \"a\\nb\"}",
       "2:31: broker.user: found `a?b` with a line break or control character in it; expected the "
       "user name at the broker\n"},
  };
  for (const Faulty& row : rows) {
    CAPTURE(row.text);
    CHECK(broker_faults(row.text) == row.faults);
  }
}

TEST_CASE("the web page needs an address to listen on") {
  const auto web = [](const std::string& section) {
    return faults_of("storeroom: c\nweb: " + section + "\n");
  };
  const SettingsResult good = read_settings(
      "storeroom: c\nweb: {listen: 127.0.0.1:8457, address: http://c.lan:8457/x}\n", "f");
  CHECK(good.faults.empty());
  REQUIRE(good.settings.web.has_value());
  CHECK(good.settings.web->listen == "127.0.0.1:8457");
  CHECK(good.settings.web->address == "http://c.lan:8457/x");
  CHECK_FALSE(read_settings("storeroom: c\n", "f").settings.web.has_value());

  CHECK(web("{listen: \"[::1]:80\"}") == "");
  CHECK(web("{}") == "2:6: web: `listen` is missing; add e.g. `listen: 127.0.0.1:8457`\n");
  CHECK(web("{listen: 127.0.0.1}") ==
        "2:15: web.listen: found `127.0.0.1`; expected HOST:PORT, e.g. 127.0.0.1:8457\n");
  CHECK(web("{listen: a:1, address: c.lan}") ==
        "2:15: web.listen: others can reach this address, so a token is needed; add `token: FILE`, "
        "a file whose first line is at least 16 characters long, or listen on 127.0.0.1\n"
        "2:29: web.address: found `c.lan`; expected the address another device types, e.g. "
        "http://cellar.lan:8457\n");
}

TEST_CASE("a page that others can reach wants a token") {
  const auto faults = [](const std::string& listen, const std::string& more = "") {
    return faults_of("storeroom: c\nweb: {listen: \"" + listen + "\"" + more + "}\n");
  };
  for (const char* loopback : {"127.0.0.1:1", "127.1.2.3:1", "localhost:1", "[::1]:1"}) {
    CHECK(faults(loopback) == "");
  }
  for (const char* reachable : {"0.0.0.0:1", "[::]:1", "192.168.1.7:1", "127.evil.example:1"}) {
    CHECK(faults(reachable).find("so a token is needed") != std::string::npos);
    CHECK(faults(reachable, ", token: web.token") == "");
  }
  const SettingsResult read =
      read_settings("storeroom: c\nweb: {listen: \"[::]:8457\", token: web.token}\n", "f");
  CHECK(read.settings.web->host == "::");
  CHECK(read.settings.web->port == 8457);
  CHECK(read.settings.web->token_file == "web.token");
}

}  // namespace
}  // namespace torpor::config
