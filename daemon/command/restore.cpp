#include "daemon/command/restore.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <fstream>
#include <optional>
#include <system_error>
#include <utility>
#include <vector>

#include "daemon/command/terminal.h"
#include "daemon/history/damaged_history.h"
#include "daemon/history/database_files.h"
#include "daemon/history/disk_error.h"
#include "daemon/history/folder_owner.h"
#include "daemon/history/history_copy.h"
#include "daemon/history/history_marker.h"
#include "daemon/history/inbox_segment.h"
#include "daemon/history/integrity_check.h"
#include "daemon/history/small_copy.h"
#include "daemon/history/store.h"
#include "daemon/history/writer_lock.h"
#include "daemon/report/gather.h"
#include "daemon/report/printable.h"
#include "daemon/service/load_settings.h"
#include "daemon/service/storeroom.h"
#include "sensors/rfc3339.h"

namespace torpor::daemon {
namespace {

namespace fs = std::filesystem;

tl::unexpected<Failure> failed(const std::string& text) {
  return tl::unexpected(Failure{ExitCode::failed, text});
}

tl::unexpected<Failure> failed(const Error& error) { return failed(error.text); }

std::string counted(std::size_t number, const char* one, const char* many) {
  return fmt::format("{} {}", number, number == 1 ? one : many);
}

// A name beside another that nothing has yet: NAME, NAME.2, ...
fs::path free_name(const fs::path& name) {
  fs::path free = name;
  std::error_code error;
  for (int next = 2; fs::exists(free, error); ++next) {
    free = name;
    free += fmt::format(".{}", next);
  }
  return free;
}

// The history at FILE as a file of its own at `target`, checked.
Outcome unpack(const fs::path& file, const fs::path& target) {
  auto made =
      is_small_copy(file) ? unpack_small_copy(file, target) : copy_history_file(file, target);
  if (!made) return failed(made.error());
  std::optional<std::string> damage;
  IntegrityCheck check(target, [&damage](const Error& error) { damage = error.text; });
  check.finish();
  if (damage) {
    return failed(
        fmt::format("{} is damaged itself: {}. Take another copy", file.string(), *damage));
  }
  return {};
}

// The configuration's files from a copy. One that is there stays; the copy's lies beside it then.
tl::expected<std::string, Failure> bring_configuration(const fs::path& history,
                                                       const fs::path& config) {
  std::string said;
  bool first = true;
  for (const CopiedFile& file : copied_configuration(history)) {
    const fs::path folder = config.parent_path();
    // A copy may come from anywhere: it writes nowhere but here.
    const fs::path name(file.name);
    const bool inside = name.is_relative() && std::ranges::find(name, "..") == name.end();
    const fs::path wanted =
        std::exchange(first, false) ? config : folder / (inside ? name : name.filename());
    std::ifstream there(wanted, std::ios::binary);
    const std::string text{std::istreambuf_iterator<char>(there), {}};
    if (there.is_open() && text == file.text) continue;
    fs::path target = wanted;
    if (there.is_open()) {
      target += ".of-the-copy";
      target = free_name(target);
    }
    std::ofstream out(target, std::ios::binary | std::ios::trunc);
    out << file.text;
    out.close();
    if (!out) return failed(fmt::format("{} could not be written", target.string()));
    said += there.is_open()
                ? fmt::format("{} differs from the copy's and stays; the copy's is {}\n",
                              printable(wanted.string()), printable(target.string()))
                : fmt::format("{} was brought from the copy\n", printable(target.string()));
  }
  return said;
}

struct Brought {
  std::size_t jars = 0, entries = 0;
  std::optional<Instant> newest;
};

tl::expected<Brought, Failure> look_into(const fs::path& history) {
  const auto reader = Reader::open(history, {});
  if (!reader) return failed(reader.error());
  const auto ledger = ledger_of(**reader);
  if (!ledger) return failed(ledger.error());
  Brought brought{ledger->jars().size(), (*reader)->journal().size(), (*reader)->newest_measured()};
  if (const auto fault = (*reader)->fault()) return failed(*fault);
  return brought;
}

void remove_with_files_beside(const fs::path& file) {
  remove_database(file);
  std::error_code ignored;
  fs::remove(file.string() + ".lock", ignored);
}

// Readies what was unpacked for its place: what was there goes on where the copy ends, and what the
// inbox does not hold any more is no gap to be told of at the next start.
tl::expected<Added, Failure> complete(const fs::path& part, const fs::path& kept,
                                      const fs::path& inbox, std::string& said) {
  Added added;
  if (!kept.empty()) {
    // Where nothing of it can be read the copy alone is brought.
    if (const auto later = add_later(kept, part)) {
      added = *later;
    } else {
      said +=
          fmt::format("nothing later could be added from what was there: {}\n", later.error().text);
    }
  }
  auto store = Store::open(part);
  if (!store) return failed(store.error());
  if ((*store)->note(kIdentityNote).value_or("").empty()) {
    if (auto put = (*store)->put_note(kIdentityNote, new_identity()); !put) {
      return failed(put.error());
    }
  }
  const Store::Snapshot saved = (*store)->snapshot();
  const auto segments = list_segments(inbox, {});
  const std::uint64_t first = segments && !segments->empty() ? segments->front().first : 0;
  // The rules' state of before knows nothing of entries that came since: it is made from the
  // journal.
  const std::string state = added.entries > 0 ? "" : saved.bytes;
  const std::uint64_t sequence = first > saved.sequence + 1 ? first - 1 : saved.sequence;
  if (sequence != saved.sequence || state != saved.bytes) {
    if (auto put = (*store)->put_snapshot(sequence, state); !put) return failed(put.error());
  }
  return added;
}

}  // namespace

tl::expected<std::string, Failure> restore_history(const RestoreOrder& order,
                                                   const fs::path& config) {
  std::string said;
  std::error_code error;
  if (!fs::exists(config, error) && !order.file.empty() && is_small_copy(order.file)) {
    const fs::path unpacked = free_name(config.string() + ".unpacked");
    if (auto made = unpack_small_copy(order.file, unpacked); !made) return failed(made.error());
    auto brought = bring_configuration(unpacked, config);
    remove_with_files_beside(unpacked);
    if (!brought) return brought;
    said += *brought;
    said += "secrets are in no copy: put the broker's password where the configuration names it\n";
  }
  const auto loaded = load_settings(config, Purpose::history);
  if (!loaded) {
    std::string faults = said;
    for (const config::Fault& fault : loaded.error()) faults += config::to_text(fault) + "\n";
    return tl::unexpected(Failure{ExitCode::usage, faults + "nothing of the history was changed"});
  }
  const HistoryPlace place = history_place(storeroom_settings(*loaded));
  const fs::path file = real_history(loaded->history);
  fs::create_directories(file.parent_path(), error);
  auto lock = WriterLock::take(lock_file(file));
  if (!lock) {
    return failed(lock.error().kind == ErrorKind::busy ? lock.error().text + "; nothing was changed"
                                                       : lock.error().text);
  }
  if (is_locked(lock_file(stand_in_file(place.spool)))) {
    return failed(
        "torpord runs and stands in for this history; stop it first; nothing was changed");
  }

  const fs::path part = file.string() + ".restored";
  remove_with_files_beside(part);
  std::string from = order.file;
  if (from.empty()) {
    std::vector<fs::path> copies = small_copies(copies_folder(file), place.storeroom);
    for (fs::path& copy : small_copies(place.second_copy, place.storeroom)) {
      copies.push_back(std::move(copy));
    }
    std::ranges::stable_sort(
        copies, [](const fs::path& a, const fs::path& b) { return a.filename() > b.filename(); });
    for (const fs::path& copy : copies) {
      if (unpack(copy, part)) {
        from = copy.string();
        break;
      }
      said += fmt::format("{} is damaged, passed over\n", printable(copy.string()));
      remove_with_files_beside(part);
    }
    if (from.empty()) {
      return failed(
          said + fmt::format("there is no whole copy in {}{}; name a backup",
                             copies_folder(file).string(),
                             place.second_copy.empty() ? "" : " or " + place.second_copy.string()));
    }
  } else if (auto unpacked = unpack(from, part); !unpacked) {
    remove_with_files_beside(part);
    return tl::unexpected(unpacked.error());
  }

  fs::path kept;
  if (fs::exists(file, error) || fs::exists(file.string() + "-wal", error)) {
    const Instant now = wall_now();
    auto aside = set_aside(file, "before-restore", moment_in_a_name(unix_ms(now)));
    if (!aside) return failed(aside.error());
    kept = std::move(*aside);
  }
  const auto added = complete(part, kept, inbox_folder(file), said);
  if (!added) return tl::unexpected(added.error());
  const auto brought = look_into(part);
  if (!brought) return tl::unexpected(brought.error());
  if (std::rename(part.c_str(), file.c_str()) != 0) return failed(disk_error(errno, "make", file));
  remove_with_files_beside(part);
  const auto identity = identity_of(file);
  if (identity) {
    for (const fs::path& marker : {marker_in(inbox_folder(file)), place.marker}) {
      if (marker.empty()) continue;
      if (auto put = write_marker(marker, *identity, file); !put) {
        said += put.error().text + "; at its next start torpord may ask for the other history\n";
      }
    }
  }
  give_to_folders_owner(file);
  remove_with_files_beside(stand_in_file(place.spool));
  if (fs::exists(config, error)) {
    auto files = bring_configuration(file, config);
    if (files) said += *files;
  }
  said += fmt::format("restored {} from {}: {}, {}, readings up to {}\n", file.string(),
                      printable(from), counted(brought->jars, "jar", "jars"),
                      counted(brought->entries, "journal entry", "journal entries"),
                      brought->newest ? to_rfc3339(*brought->newest) : "none");
  if (added->readings + added->days + added->entries > 0) {
    said += fmt::format(
        "  of it from what was there: {} later journal entries, {} days of readings, {} single "
        "readings\n",
        added->entries, added->days, added->readings);
  }
  if (!kept.empty()) said += fmt::format("what was there is kept as {}\n", kept.string());
  said += "start torpord: what its inbox still holds is added then\n";
  return said;
}

}  // namespace torpor::daemon
