#include "daemon/link/refusal.h"

#include <algorithm>
#include <array>

#include <fmt/core.h>

namespace torpor::daemon {
namespace {

struct CodeText {
  int code;
  std::string_view text;
};

// MQTT 5, table 2-6: what a keeper of the machine can do about each.
constexpr std::array kSentences = {
    CodeText{0x84, "it does not speak MQTT 5; use a broker that does (mosquitto 1.6 or later)"},
    CodeText{0x85, "it does not accept our client id; look at its rules for client ids"},
    CodeText{0x88, "it says it is unavailable; look at its log"},
    CodeText{0x89, "it says it is busy; look at the load of its machine"},
    CodeText{0x8A, "it has banned this client; look at its configuration"},
    CodeText{0x8B, "it is shutting down"},
    CodeText{0x8C, "it wants another authentication method than user and password"},
    CodeText{0x8D, "it did not hear from us in time; look at the network"},
    CodeText{0x8E,
             "another program connected with our client id; is a second torpord running with the "
             "same `storeroom`?"},
    CodeText{0x95, "a packet of ours was too large for it; raise its maximum packet size"},
    CodeText{0x97, "a quota of ours is used up; look at its limits"},
    CodeText{0x98, "its administrator closed the connection"},
    CodeText{0x9A, "it does not support retained messages, which torpor needs"},
    CodeText{0x9B, "it does not support QoS 1, which torpor needs"},
    CodeText{0x9C, "it asks us to use another server"},
    CodeText{0x9D, "it has moved to another server"},
    CodeText{0x9F, "we connected too often; it asks for a pause"},
};

constexpr std::array kWords = {
    CodeText{0x83, "not possible there"},
    CodeText{0x87, "not allowed by its access list"},
    CodeText{0x8F, "not a topic filter it accepts"},
    CodeText{0x90, "not a topic it accepts"},
    CodeText{0x95, "too large for it"},
    CodeText{0x97, "beyond a quota of its"},
    CodeText{0x99, "not in the format it expects"},
    CodeText{0xA2, "a wildcard it does not support"},
};

template <typename Table>
std::string_view text_of(const Table& table, int code) {
  const auto found = std::find_if(table.begin(), table.end(),
                                  [code](const CodeText& entry) { return entry.code == code; });
  return found == table.end() ? std::string_view() : found->text;
}

}  // namespace

std::string refusal_sentence(int reason_code, const BrokerAddress& address,
                             const BrokerAccess& access) {
  const std::string broker = "the broker at " + address.text();
  if (reason_code == 0x86 || reason_code == 0x87) {
    // Brokers answer either code to a wrong password: mosquitto says 0x87.
    if (access.user.empty()) {
      return broker + " wants a user and password; set broker.user and broker.secret";
    }
    return fmt::format(
        "{} refuses user '{}'; check broker.user, the password in broker.secret, and that the "
        "broker has read its password file",
        broker, access.user);
  }
  const std::string_view text = text_of(kSentences, reason_code);
  if (!text.empty()) return fmt::format("{} closed the connection: {}", broker, text);
  return fmt::format("{} closed the connection with MQTT 5 reason code 0x{:02X}; look at its log",
                     broker, reason_code);
}

std::string refusal_words(int reason_code) {
  const std::string_view text = text_of(kWords, reason_code);
  if (!text.empty()) return std::string(text);
  return fmt::format("refused with MQTT 5 reason code 0x{:02X}", reason_code);
}

}  // namespace torpor::daemon
