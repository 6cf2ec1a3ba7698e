// What happened, on the time axis of a jar's life: places and the sensors that spoke as strips
// above, journal entries as numbered marks, alerts as numbered bars. The numbers are those of the
// journal and of the alerts.
#pragma once

#include <string>
#include <vector>

#include "daemon/report/markup.h"
#include "daemon/report/strip_lane.h"
#include "daemon/report/views.h"

namespace torpor::daemon {

inline constexpr double kMarksTop = 42.0;  // px, below the strips of places and of sensors
// What a letter takes of the narrowest screen's picture, 260 px.
inline constexpr double kLetterShare = 0.023;
inline constexpr double kMarkRow = 17.0;
inline constexpr double kBarRow = 21.0;

enum class MarkShape { done, seen, moved };
struct LifeMark {
  double share = 0.0;  // of the axis
  MarkShape shape = MarkShape::done;
  std::string number;  // "13"; "8-11" where several fall together
  int row = 0;
};
struct AlertBar {
  double from = 0.0, to = 0.0;  // shares of the axis
  bool open = false;            // it stands still
  std::string words;            // "7 damp"
  int row = 0;
};

// Rows keep the numbers apart on a phone's screen; where all rows are taken, entries join the mark
// before them.
[[nodiscard]] std::vector<LifeMark> marks_of(const JarHistoryView& view, const TimeScale& scale);
[[nodiscard]] int mark_rows(const std::vector<LifeMark>& marks);
// The newest alerts, as many as the rows hold.
[[nodiscard]] std::vector<AlertBar> alert_bars(const JarHistoryView& view, const TimeScale& scale);
[[nodiscard]] int bar_rows(const std::vector<AlertBar>& bars);

void draw_stays(Markup& page, const JarHistoryView& view, const TimeScale& scale);
// Which sensor spoke for its air, below the places.
void draw_speakers(Markup& page, const JarHistoryView& view, const TimeScale& scale);
// `bottom`: where the marks' fine lines end, px.
void draw_marks(Markup& page, const std::vector<LifeMark>& marks, double bottom);
void draw_bars(Markup& page, const std::vector<AlertBar>& bars, double top);

}  // namespace torpor::daemon
