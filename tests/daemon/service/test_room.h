// A storeroom for tests: two shelves, an outside, sensors of every form, and one rule that a few
// warm readings set off.
#pragma once

#include <doctest/doctest.h>

#include <filesystem>
#include <memory>
#include <string>

#include "daemon/report/gather.h"
#include "daemon/service/storeroom.h"

namespace torpor::tests {

// 2025-07-14T00:00:00Z, and times after it.
inline constexpr Instant kStart = instant_of(1'752'451'200'000);
inline Instant minutes(int count) { return kStart + std::chrono::minutes(count); }

// Settings and rules as read from YAML; fails the test on any fault.
[[nodiscard]] daemon::StoreroomSettings room_settings(const std::filesystem::path& folder,
                                                      bool readings_clock = true);
[[nodiscard]] std::unique_ptr<daemon::Storeroom> open_room(
    const daemon::StoreroomSettings& settings);

// One temperature and humidity of a sensor.
[[nodiscard]] daemon::ReadingsRecord reading(const std::string& sensor, Instant at, double celsius,
                                             double percent);
[[nodiscard]] daemon::TellRecord tell(const std::string& sentence, Instant at,
                                      const std::string& correlation = "");
// Appends and applies, as the service does.
void feed(daemon::Storeroom& room, daemon::InboxPayload payload);

// What a command would be shown of the committed history: `see` gets gathering, ledger and reader.
template <class See>
auto seen_in(const daemon::StoreroomSettings& settings, const See& see) {
  const auto reader = daemon::Reader::open(settings.history, settings.spool);
  REQUIRE(reader);
  const auto ledger = daemon::ledger_of(**reader);
  REQUIRE(ledger);
  const auto gathering =
      daemon::Gathering::of(settings.settings, **reader, *ledger,
                            daemon::shown_now(settings.settings, **reader,
                                              {(*reader)->newest_measured().value_or(kStart)}));
  REQUIRE(gathering);
  return see(*gathering, *ledger, **reader);
}

}  // namespace torpor::tests
