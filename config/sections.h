// The readers of the configuration's larger sections, each in the file of its name. Internal to
// read_settings(): callers outside use settings.h.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "config/settings.h"
#include "config/yaml_reader.h"

namespace torpor::config {

// broker.cpp
void read_broker(const Field& field, BrokerSettings& broker);

// web.cpp
void read_web(const Field& field, std::optional<WebSettings>& web);

// places.cpp: the tree as a list of paths, parents before children, in file order. False when the
// section could not be read at all, so that sensors are not blamed for it.
[[nodiscard]] bool read_places(const Field& field, std::vector<PlaceSettings>& places);

// sensors.cpp: `places` is null when the places could not be read.
void read_sensors(const Field& field, const std::vector<PlaceSettings>* places,
                  std::vector<SensorSettings>& sensors);

// measures.cpp: `payload`, `measures` and `time` of one sensor. False when a fault was reported.
[[nodiscard]] bool read_payload(Mapping& sensor, PayloadFormat& format);

}  // namespace torpor::config
