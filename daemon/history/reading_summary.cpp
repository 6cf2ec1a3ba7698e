#include "daemon/history/reading_summary.h"

namespace torpor::daemon {

void ReadingSummary::add(const Reading& reading) {
  ++readings;
  if (!first_measured) first_measured = reading.measured_at;
  last_measured = reading.measured_at;
  if (!reading.trusted()) return;
  const Extreme here{reading.value(), reading.measured_at};
  ++trusted;
  sum += here.value;
  if (!first) first = lowest = highest = here;
  last = here;
  if (here.value < lowest->value) lowest = here;
  if (here.value > highest->value) highest = here;
}

void ReadingSummary::add(const ReadingSummary& later) {
  readings += later.readings;
  trusted += later.trusted;
  sum += later.sum;
  if (!first_measured) first_measured = later.first_measured;
  if (later.last_measured) last_measured = later.last_measured;
  if (!later.first) return;
  if (!first) first = later.first;
  last = later.last;
  if (!lowest || later.lowest->value < lowest->value) lowest = later.lowest;
  if (!highest || later.highest->value > highest->value) highest = later.highest;
}

}  // namespace torpor::daemon
