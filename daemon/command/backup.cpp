#include "daemon/command/backup.h"

#include <fmt/format.h>

#include "daemon/command/terminal.h"
#include "daemon/history/history_copy.h"
#include "daemon/history/open_history.h"
#include "daemon/history/store.h"
#include "daemon/service/storeroom.h"
#include "sensors/rfc3339.h"

namespace torpor::daemon {

tl::expected<std::string, Failure> back_up(const std::filesystem::path& target,
                                           const std::filesystem::path& config) {
  const auto loaded = load_for_command(config, Purpose::history);
  if (!loaded) return tl::unexpected(loaded.error());
  if (std::filesystem::exists(stand_in_file(spool_folder(loaded->history)))) {
    return tl::unexpected(Failure{ExitCode::failed,
                                  "there is nothing to copy while the history is away; the nightly "
                                  "copies are as they were"});
  }
  if (auto copied = copy_history_file(loaded->history, target); !copied) {
    return tl::unexpected(failure_of(copied.error()));
  }
  // Read once, as one would who needs it.
  const auto copy = Reader::open(target, {});
  if (!copy) return tl::unexpected(failure_of(copy.error()));
  const auto newest = (*copy)->newest_measured();
  const std::size_t entries = (*copy)->journal().size();
  if (const auto fault = (*copy)->fault()) return tl::unexpected(failure_of(*fault));
  std::error_code unknown;
  const auto bytes = std::filesystem::file_size(target, unknown);
  return fmt::format("{}: {:.1f} MB, {} journal entries, readings up to {}\n", target.string(),
                     static_cast<double>(bytes) / 1e6, entries,
                     newest ? to_rfc3339(*newest) : "none");
}

}  // namespace torpor::daemon
