// The views as text for a person at a terminal, at most 80 columns. Everything that came from
// outside is made harmless on the way (printable.h). Colour repeats what the words say, never more.
#pragma once

#include <optional>
#include <span>
#include <string>

#include "daemon/ledger/local_time.h"
#include "daemon/report/person_units.h"
#include "daemon/report/views.h"

namespace torpor::daemon {

struct TextStyle {
  bool utf8 = true;  // the terminal shows UTF-8: curves as blocks
  bool colour = false;
  int width = 80;
};

// What every text needs to know.
struct TextContext {
  const LocalTime& zone;
  Instant as_of;
  // How long nothing has come in, where that is worth a word.
  std::optional<Duration> behind;
  TextStyle style;
  PersonUnits units{};
};

// "As of 2026-03-02 18:30 (Europe/Vienna)." and a line about `behind`.
[[nodiscard]] std::string heading(const TextContext& context);

[[nodiscard]] std::string jars_text(std::span<const JarRow> rows, const TextContext& context);
[[nodiscard]] std::string places_text(std::span<const PlaceView> views, const TextContext& context);
[[nodiscard]] std::string sensors_text(std::span<const SensorView> views,
                                       const TextContext& context);
// `all`: ended ones are among them.
[[nodiscard]] std::string alerts_text(std::span<const AlertView> views, bool all,
                                      const TextContext& context);
// One jar: what it is, where it stood, the air there, alerts, journal, cautions.
[[nodiscard]] std::string jar_history_text(const JarHistoryView& view, const TextContext& context);
[[nodiscard]] std::string air_text(const AirView& view);

}  // namespace torpor::daemon
