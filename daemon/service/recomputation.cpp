#include "daemon/service/recomputation.h"

#include "daemon/history/store.h"
#include "daemon/ledger/jar_life.h"

namespace torpor::daemon {

tl::expected<JarModelRecord, Error> work_out(const Recomputation& what) {
  const auto reader = Reader::open(what.history, what.spool);
  if (!reader) return tl::unexpected(reader.error());
  const rules::Layout layout = what.settings.layout();
  const std::vector<Placement> placements = (*reader)->placements();
  const StoodAir air(**reader, layout.places, placements, what.calibrations);
  const JarLife life(what.jar, what.split_line, air,
                     what.settings.cultures.for_stage(what.jar.made.stage));
  const rules::culture::JarModel model = life.at(what.outdated.until);
  if (const auto fault = (*reader)->fault()) return tl::unexpected(*fault);
  return JarModelRecord{what.outdated.jar, what.outdated.revision, what.outdated.until,
                        model.snapshot()};
}

}  // namespace torpor::daemon
