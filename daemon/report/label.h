// Labels for jars on a sheet of A4, as SVG: black on white, to be cut and glued. Pure.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "daemon/ledger/ledger.h"
#include "daemon/report/person_units.h"

namespace torpor::daemon {

struct Label {
  std::string jar, stage;  // stage empty: not told
  Instant closed;
  std::optional<Cover> cover;  // what is on it now
  std::optional<Grams> empty;
};
[[nodiscard]] Label label_of(const Jar& jar, Instant now);

inline constexpr std::size_t kLabelsOnSheet = 10;

// What the code on the label holds: the jar's page, or without an address the sentence that asks
// for the jar. `address`: of the web pages, as configured.
[[nodiscard]] std::string code_text(const Label& label, const std::string& address);

// Precondition: at most kLabelsOnSheet labels.
[[nodiscard]] std::string labels_svg(std::span<const Label> labels, const std::string& address,
                                     const LocalTime& zone,
                                     const PersonUnits& units = PersonUnits());

// Why a phone that reads the code will not reach the page, and what to do; nullopt: it may.
[[nodiscard]] std::optional<std::string> unreachable_address(const std::string& address);

}  // namespace torpor::daemon
