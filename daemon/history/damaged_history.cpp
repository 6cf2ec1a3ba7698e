#include "daemon/history/damaged_history.h"

#include <fmt/format.h>

#include <cerrno>
#include <cstdio>
#include <fstream>

#include "daemon/history/disk_error.h"
#include "daemon/history/history_tables.h"
#include "daemon/history/jar_rows.h"
#include "daemon/history/schema.h"
#include "daemon/history/writer_lock.h"
#include "sensors/rfc3339.h"

namespace torpor::daemon {
namespace {

namespace fs = std::filesystem;

// By the first page's header alone (SQLite file format, section 1.3): the rest may be damaged.
bool says_it_is_a_history(const fs::path& file) {
  std::string header(100, '\0');
  std::ifstream(file, std::ios::binary).read(header.data(), 100);
  return header.starts_with(std::string_view("SQLite format 3\0", 16)) &&
         header.compare(68, 4, "tpor") == 0;
}

// Everything that the service cannot do without, read once.
std::optional<Error> fault_of_small_tables(const Store& store) {
  static_cast<void>(store.journal());
  static_cast<void>(store.placements());
  static_cast<void>(store.alerts(false));
  static_cast<void>(store.outbox());
  static_cast<void>(store.snapshot());
  static_cast<void>(store.jar_models());
  static_cast<void>(store.newest_measured());
  return store.fault();
}

tl::expected<void, Error> rename_if_there(const fs::path& from, const fs::path& to) {
  if (std::rename(from.c_str(), to.c_str()) == 0 || errno == ENOENT) return {};
  return tl::unexpected(disk_error(errno, "set aside", from));
}

// With the files beside it, which may hold its newest pages.
tl::expected<fs::path, Error> set_aside(const fs::path& file, Instant now) {
  auto lock = WriterLock::take(lock_file(file));
  if (!lock) return tl::unexpected(lock.error());
  std::string when = to_rfc3339(now);
  std::erase_if(when, [](char c) { return c == ':' || c == '-'; });
  fs::path kept = file;
  kept += ".damaged-" + when.substr(0, 15);
  for (int next = 2; fs::exists(kept); ++next) {
    kept = file;
    kept += fmt::format(".damaged-{}.{}", when.substr(0, 15), next);
  }
  for (const char* beside : {"-wal", "-shm", ""}) {
    auto renamed = rename_if_there(file.string() + beside, kept.string() + beside);
    if (!renamed) return tl::unexpected(renamed.error());
  }
  return kept;
}

class Salvage {
 public:
  Salvage(Database& from, Store& to) : from_(from), to_(to) {}

  // A table comes over whole or not at all: half a journal would be another story.
  void run(ReplacedHistory& replaced) {
    bring("journal", read_journal(from_), [this](const auto& e) { return to_.put_journal(e); });
    bring("sensors' places", read_placements(from_),
          [this](const auto& p) { return to_.put_placement(p); });
    bring("alerts", read_alerts(from_, false), [this](const auto& a) { return to_.put_alert(a); });
    bring("messages not yet delivered", read_outbox(from_),
          [this](const auto& m) { return to_.put_outbox(m); });
    const auto snapshot = read_snapshot(from_);
    count("state of the rules",
          snapshot && to_.put_snapshot(snapshot->sequence, snapshot->bytes).has_value());
    bring("jars' models", read_model_rows(from_),
          [this](const auto& m) { return to_.put_jar_model(m.jar, m.bytes); });
    replaced.brought_over = std::move(brought_);
    replaced.lost = std::move(lost_);
  }

 private:
  template <class Rows, class Put>
  void bring(std::string_view what, const Rows& rows, const Put& put) {
    bool good = rows.has_value() && to_.begin().has_value();
    if (good) {
      for (const auto& row : *rows) good = good && put(row).has_value();
      if (good) good = to_.commit().has_value();
      if (!good) to_.rollback();
    }
    count(what, good);
  }
  void count(std::string_view what, bool good) {
    std::string& list = good ? brought_ : lost_;
    if (!list.empty()) list += ", ";
    list += what;
  }

  Database& from_;
  Store& to_;
  std::string brought_;
  std::string lost_;
};

}  // namespace

tl::expected<OpenedHistory, Error> open_or_replace(const fs::path& file, bool power_cut,
                                                   Instant now) {
  auto store = Store::open(file, power_cut);
  const auto fault = store ? fault_of_small_tables(**store) : std::optional(store.error());
  if (!fault) return OpenedHistory{std::move(*store), std::nullopt};
  if (fault->kind != ErrorKind::corrupt || !says_it_is_a_history(file)) {
    return tl::unexpected(*fault);
  }
  if (store) store->reset();
  auto kept = set_aside(file, now);
  if (!kept) return tl::unexpected(kept.error());
  auto fresh = Store::open(file, power_cut);
  if (!fresh) return tl::unexpected(fresh.error());
  OpenedHistory opened{std::move(*fresh), ReplacedHistory{*kept, fault->text, {}, {}}};
  if (auto damaged = Database::open(*kept, OpenMode::read_only)) {
    Salvage(**damaged, *opened.store).run(*opened.replaced);
  } else {
    opened.replaced->lost = "everything";
  }
  return opened;
}

}  // namespace torpor::daemon
