// When a sensor was last checked, what corrects it and what error to expect, and that in words.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "daemon/ledger/ledger.h"
#include "daemon/ledger/local_time.h"
#include "daemon/report/views.h"

namespace torpor::daemon {

// What is known at `now` of how right a sensor reads, by quantity in its order.
[[nodiscard]] std::vector<SensorAccuracy> accuracy_of(const Ledger& ledger,
                                                      const rules::SensorSpec& sensor, Instant now);

// "humidity: checked in table salt on 2026-03-02: read 3.9 % too low (entry 12); corrected since,
// within 2 % of the truth". Empty where the quantity was never checked.
[[nodiscard]] std::vector<std::string> check_words(const SensorView& view, const LocalTime& zone);
// Of a list: the quantities of its sensors that nobody has checked, in one paragraph; empty: none.
[[nodiscard]] std::string never_checked_words(std::span<const SensorView> views);

}  // namespace torpor::daemon
