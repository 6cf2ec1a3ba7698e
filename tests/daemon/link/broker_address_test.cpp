#include "daemon/link/broker_address.h"

#include <string>

#include <doctest/doctest.h>

namespace torpor::daemon {
namespace {

TEST_CASE("a broker's address is taken apart") {
  struct Row {
    const char* uri;
    const char* host;
    int port;
    bool encrypted;
    const char* text;
  };
  const Row rows[] = {
      {"mqtt://127.0.0.1:1883", "127.0.0.1", 1883, false, "127.0.0.1:1883"},
      {"mqtt://cellar.lan", "cellar.lan", 1883, false, "cellar.lan:1883"},
      {"mqtts://cellar.lan", "cellar.lan", 8883, true, "cellar.lan:8883"},
      {"mqtts://cellar.lan:65535", "cellar.lan", 65535, true, "cellar.lan:65535"},
      {"mqtt://cellar.lan:1", "cellar.lan", 1, false, "cellar.lan:1"},
      {"mqtt://[::1]:1884", "::1", 1884, false, "[::1]:1884"},
      {"mqtt://[fe80::1]", "fe80::1", 1883, false, "[fe80::1]:1883"},
  };
  for (const Row& row : rows) {
    CAPTURE(row.uri);
    const auto address = read_broker_address(row.uri);
    REQUIRE(address.has_value());
    CHECK(address->host == row.host);
    CHECK(address->port == row.port);
    CHECK(address->encrypted == row.encrypted);
    CHECK(address->text() == row.text);
  }
}

TEST_CASE("an address that is none is refused with what is wrong") {
  struct Row {
    const char* uri;
    const char* what;
  };
  const Row rows[] = {
      {"", "it does not begin with mqtt:// or mqtts://"},
      {"tcp://127.0.0.1:1883", "it does not begin with mqtt:// or mqtts://"},
      {"mqtt://", "the host is missing"},
      {"mqtt://:1883", "the host is missing"},
      {"mqtt://host:", "'' is not a port between 1 and 65535"},
      {"mqtt://host:0", "'0' is not a port between 1 and 65535"},
      {"mqtt://host:65536", "'65536' is not a port between 1 and 65535"},
      {"mqtt://host:99999999999", "'99999999999' is not a port between 1 and 65535"},
      {"mqtt://host:18x", "'18x' is not a port between 1 and 65535"},
      {"mqtt://[::1", "a ']' is missing"},
      {"mqtt://[::1]1883", "text after the ']'"},
      {"mqtt://user@host:1883", "the host holds a '/', '@' or space"},
      {"mqtt://host/path", "the host holds a '/', '@' or space"},
  };
  for (const Row& row : rows) {
    CAPTURE(row.uri);
    const auto address = read_broker_address(row.uri);
    REQUIRE_FALSE(address.has_value());
    CHECK(address.error().kind == ErrorKind::invalid);
    CHECK(address.error().text == "broker address '" + std::string(row.uri) + "': " + row.what +
                                      "; expected mqtt://host:port or mqtts://host:port");
  }
}

}  // namespace
}  // namespace torpor::daemon
