// What the pages look like: the frame around each, and the content of each. For pages.cpp.
#pragma once

#include <functional>
#include <optional>
#include <span>
#include <string>

#include "daemon/report/html_page.h"
#include "daemon/report/views.h"

namespace torpor::daemon {

// Where the reader is, for the navigation.
enum class Room { shelves, jar, alerts, sensors, elsewhere };

struct WebFrame {
  std::string title;
  Room room = Room::elsewhere;
  PageContext context;
  // How long nothing has come in, where that is worth a word.
  std::optional<Duration> silent;
  bool refreshes = true;
};
// The page around `content`, which writes what stands in <main>.
[[nodiscard]] std::string web_page(const WebFrame& frame,
                                   const std::function<void(Markup&)>& content);
[[nodiscard]] Literal web_style();      // beside page_style()
[[nodiscard]] Literal web_refresher();  // the only script; the pages are read without it as well
[[nodiscard]] std::string jar_icon();   // SVG

struct Shelves {
  std::span<const PlaceView> places;
  std::span<const JarRow> jars;
  std::span<const AlertView> alerts;
};
void write_shelves(Markup& page, const Shelves& shelves, const PersonUnits& units);
void write_alerts(Markup& page, std::span<const AlertView> alerts, const PageContext& context);
void write_sensors(Markup& page, std::span<const SensorView> sensors, const PageContext& context);

}  // namespace torpor::daemon
