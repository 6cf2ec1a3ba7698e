// What `torpor tell` does: sends one sentence to the service through the broker and waits for the
// answer (MQTT 5 request and response). It does not read the sentence.
#pragma once

#include <chrono>
#include <string>

#include <tl/expected.hpp>

#include "daemon/error.h"
#include "daemon/link/link.h"

namespace torpor::daemon {

struct TellSettings {
  BrokerAccess access;
  std::string storeroom;
  std::string by;                             // who says it; empty: nobody in particular
  std::chrono::milliseconds patience{15000};  // for all of it
  // Without an answer for this long the sentence is sent again with the same correlation data: the
  // service answers a repeat from its store and does not act twice.
  std::chrono::milliseconds repeat_after{4000};
};

// Blocks. The text of the answer, or an error of kind
//   not_reached  no broker, no service, or no answer in time;
//   refused      the broker does not let us say it, or refuses user and password;
//   invalid      the settings cannot be used.
// The sentence expires in the broker with `patience`, so that a service that was down does not
// carry out later what its author has given up on.
[[nodiscard]] tl::expected<std::string, Error> tell(const TellSettings& settings,
                                                    const std::string& sentence);

}  // namespace torpor::daemon
