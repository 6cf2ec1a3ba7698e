#include "daemon/service/jar_days.h"

#include "daemon/ledger/jar_life.h"

namespace torpor::daemon {

tl::expected<WorkedOutDays, Error> work_out(const WantedDays& what) {
  const auto reader = Reader::open(what.history, what.spool);
  if (!reader) return tl::unexpected(reader.error());
  const rules::Layout layout = what.settings.layout();
  const std::vector<Placement> placements = (*reader)->placements();
  const StoodAir air(**reader, layout.places, placements, what.calibrations);
  const JarLife life(what.jar, what.split_line, air,
                     what.settings.cultures.for_stage(what.jar.made.stage));
  const std::uint64_t identity = life.identity();
  WorkedOutDays worked_out{what.id, what.revision, what.to, {}, {}, {}};
  const auto model = life.days(what.from, what.to, [&](const JarDay& day, bool stored) {
    if (stored) return;
    const auto number = std::chrono::floor<std::chrono::days>(day.from).time_since_epoch().count();
    worked_out.days.push_back({number, to_bytes(day, identity)});
  });
  // A retired jar's life is over, and nobody goes on from there.
  if (!worked_out.days.empty() && !what.jar.retired_at) {
    worked_out.model_at = model.at();
    worked_out.model = model.snapshot();
  }
  if (const auto fault = (*reader)->fault()) return tl::unexpected(*fault);
  return worked_out;
}

}  // namespace torpor::daemon
