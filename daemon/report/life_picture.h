// A jar's life as one picture on one time axis, drawn like a strip chart: places, what was done and
// seen, the air it stood in, water activity against its limits, wake progress, alerts. Written as
// SVG that keeps its lettering at any width: curves stretch, words do not. Ink only; nothing is
// said by colour alone.
#pragma once

#include "daemon/report/html_page.h"
#include "daemon/report/views.h"

namespace torpor::daemon {

// Curve points worth asking for (HistoryRange::curve_points): one for every four pixels of a desk's
// screen, so that a day of a year can still be seen.
inline constexpr std::int64_t kPicturePoints = 240;

// Nothing where no time has passed yet.
void draw_life(Markup& page, const JarHistoryView& view, const PageContext& context);

}  // namespace torpor::daemon
