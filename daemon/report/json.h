// The views as JSON: for `--json` and for the retained topics jar/<id>, place/<path>, sensor/<id>.
// snake_case keys that end in their unit's symbol, times RFC 3339 UTC, unknown as null. Pure. Text
// that is not UTF-8 is shown with replacement characters, never thrown over.
#pragma once

#include <span>
#include <string>

#include "daemon/report/views.h"

namespace torpor::daemon {

// One object each, on one line: the retained payloads.
[[nodiscard]] std::string jar_json(const JarView& view);
[[nodiscard]] std::string place_json(const PlaceView& view);
[[nodiscard]] std::string sensor_json(const SensorView& view);

// {"as_of": ..., "jars": [...]} and so on, indented: the commands.
[[nodiscard]] std::string jars_json(std::span<const JarView> views, Instant as_of);
[[nodiscard]] std::string places_json(std::span<const PlaceView> views, Instant as_of);
[[nodiscard]] std::string sensors_json(std::span<const SensorView> views, Instant as_of);
[[nodiscard]] std::string alerts_json(std::span<const AlertView> views, Instant as_of);

// `jar ID --json`. Figures that need the jar's own model are null.
[[nodiscard]] std::string jar_history_json(const JarHistoryView& view);
// `jar ID --csv`: a header and one line for each row of exposure, RFC 4180, unknown empty.
[[nodiscard]] std::string exposure_csv(std::span<const ExposureRow> rows);

[[nodiscard]] std::string air_json(const AirView& view);

}  // namespace torpor::daemon
