// How a command of `torpor` ends when it cannot do what it was asked to.
#pragma once

#include <string>
#include <utility>

#include <tl/expected.hpp>

#include "daemon/error.h"

namespace torpor::daemon {

// Promised to scripts: do not change. 65 and 69 are EX_DATAERR and EX_UNAVAILABLE of sysexits.h.
enum class ExitCode : int {
  done = 0,
  failed = 1,
  usage = 2,         // or configuration
  refused = 65,      // the sentence or the data
  not_reached = 69,  // the service
};

struct Failure {
  ExitCode code = ExitCode::failed;
  std::string text;  // lines for a person, without a trailing newline; empty: all is said already
};

using Outcome = tl::expected<void, Failure>;

// What was asked for cannot be understood.
[[nodiscard]] inline tl::unexpected<Failure> usage(std::string text) {
  return tl::unexpected(Failure{ExitCode::usage, std::move(text)});
}

// The service's and the broker's absence has a code of its own; all else has failed.
[[nodiscard]] inline Failure failure_of(const Error& error) {
  return {error.kind == ErrorKind::not_reached ? ExitCode::not_reached : ExitCode::failed,
          error.text};
}

}  // namespace torpor::daemon
