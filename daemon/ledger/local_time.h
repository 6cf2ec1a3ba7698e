// Local time of the storeroom's zone: the only place that knows time zones.
#pragma once

#include <memory>
#include <string>
#include <string_view>

#include <tl/expected.hpp>

#include "sensors/reading.h"

namespace torpor::daemon {

class LocalTime {
 public:
  // `zone` empty: the system's. Error: a sentence naming the zone and a valid example.
  [[nodiscard]] static tl::expected<LocalTime, std::string> in_zone(std::string_view zone);

  // "2026-03-02T18:30", "2026-03-02 18:30:15", "2026-03-02" (its midnight), or RFC 3339 with an
  // offset. A local time that the clock change skips or doubles is refused with both readings
  // shown.
  [[nodiscard]] tl::expected<Instant, std::string> parse(std::string_view text) const;
  // "2026-03-02 18:30", local.
  [[nodiscard]] std::string to_text(Instant instant) const;
  // "Mon 2 Mar 18:30", local, for notices and answers.
  [[nodiscard]] std::string to_words(Instant instant) const;
  [[nodiscard]] std::chrono::minutes offset(Instant instant) const;
  [[nodiscard]] const std::string& zone() const;

 private:
  struct Zone;
  explicit LocalTime(std::shared_ptr<const Zone> zone);
  std::shared_ptr<const Zone> zone_;
};

}  // namespace torpor::daemon
