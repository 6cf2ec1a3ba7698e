// The checks of one sensor as the journal tells them: which one waits, and what came of those that
// have ended. What they correct is sensors/calibration.h's.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/ledger/sentence.h"
#include "sensors/calibration.h"

namespace torpor::daemon {

struct SensorChecks {
  struct Waiting {
    std::uint64_t entry = 0;
    CheckMeans means;
    Instant from;
    friend bool operator==(const Waiting&, const Waiting&) = default;
  };
  struct Done {
    std::uint64_t entry = 0;
    CheckMeans means;
    Check check;
    friend bool operator==(const Done&, const Done&) = default;
  };
  std::optional<Waiting> waiting;
  std::vector<Done> done;  // by entry; what was withdrawn is not among them

  // The newest one of a quantity at or before `when`; nullptr: none.
  [[nodiscard]] const Done* newest(Quantity quantity, Instant when) const;
  friend bool operator==(const SensorChecks&, const SensorChecks&) = default;
};
using ChecksBySensor = std::map<std::string, SensorChecks, std::less<>>;

// A configured sensor, as whoever checks one needs to know it.
struct ToldSensor {
  std::string id;
  std::vector<Quantity> measures;
  std::optional<Celsius> temperature;  // it says now
};

// "table salt", "ice"; of a comparison nothing.
[[nodiscard]] std::string_view bath_name(const CheckMeans& means);
// "in table salt", "in ice", "against 21.4 °C".
[[nodiscard]] std::string means_text(const CheckMeans& means);
// "table salt, lithium chloride, ... or ice".
[[nodiscard]] std::string bath_names();

// The sensor an id means, compared without case, or a refusal that names the nearest. The example
// of the refusal is EXAMPLE_BEFORE ID EXAMPLE_BEHIND.
[[nodiscard]] tl::expected<const ToldSensor*, SentenceRefusal> sensor_meant(
    const std::vector<ToldSensor>& sensors, std::string_view id, std::string_view example_before,
    std::string_view example_behind);

// Why this sensor cannot be checked so, as a clause; empty: it can.
[[nodiscard]] std::string check_fault(const ToldSensor& sensor, const CheckMeans& means);

// "checked in table salt on 2026-03-02: read 3.9 % too low (entry 12)". `zone` for the day.
[[nodiscard]] std::string done_text(const SensorChecks::Done& done, const LocalTime& zone);
// What to expect of a quantity's corrected values: "within 4 %", two standard deviations; where
// nothing was ever checked with what that rests on.
[[nodiscard]] std::string expected_error_text(Quantity quantity, const Correction& correction);

}  // namespace torpor::daemon
