// Why the broker does not take us, in plain sentences that say what to check. Two sources: the
// broker's own MQTT 5 reason code, and, when there was no answer at all, a look of our own at the
// network and the certificate, because the MQTT library reports all of these as one number.
#pragma once

#include <chrono>
#include <string>
#include <string_view>

#include "daemon/link/broker_address.h"
#include "daemon/link/link.h"

namespace torpor::daemon {

// MQTT 5, section 2.4. From here on a reason code is a refusal or a fault.
inline constexpr int kFirstRefusal = 0x80;

// A CONNACK or DISCONNECT reason code of 0x80 or more. Codes the standard does not know are given
// by number.
[[nodiscard]] std::string refusal_sentence(int reason_code, const BrokerAddress& address,
                                           const BrokerAccess& access);

// A reason code of a SUBACK or PUBACK in a few words: "not allowed to", "its quota is used up".
[[nodiscard]] std::string refusal_words(int reason_code);

// Looks up the name, connects and, for mqtts, shakes hands, to find which of them fails. Blocks for
// at most `patience` and the resolver's own time-out. When all of it succeeds now, says that the
// broker closed the connection without an answer.
[[nodiscard]] std::string unreachable_sentence(const BrokerAddress& address,
                                               const BrokerAccess& access,
                                               std::chrono::milliseconds patience);

}  // namespace torpor::daemon
