#include "daemon/history/open_history.h"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <bit>
#include <cerrno>
#include <cstdio>
#include <system_error>
#include <utility>

#include "daemon/history/damaged_history.h"
#include "daemon/history/database_files.h"
#include "daemon/history/disk_error.h"
#include "daemon/history/history_marker.h"
#include "daemon/history/history_tables.h"
#include "daemon/history/inbox_segment.h"
#include "daemon/history/raw_rows.h"
#include "daemon/history/schema.h"
#include "daemon/history/small_copy.h"
#include "daemon/history/sqlite.h"

namespace torpor::daemon {
namespace {

namespace fs = std::filesystem;

// Of a larger history only the small tables stand in: memory is short on a small board.
constexpr std::uintmax_t kLargestStandIn = 16u << 20;

bool is_there(const fs::path& path) {
  std::error_code error;
  return fs::exists(path, error);
}

std::uintmax_t bytes_of(const fs::path& file) {
  std::error_code error;
  const std::uintmax_t size = fs::file_size(file, error);
  return error ? 0 : size;
}

// No file, or one without anything in it.
bool holds_nothing(const fs::path& file) {
  return bytes_of(file) == 0 && bytes_of(file.string() + "-wal") == 0;
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
  static_cast<void>(store.note(kIdentityNote));
  return store.fault();
}

// The identity of the history that was here, by whoever still knows.
std::optional<std::string> known_identity(const HistoryPlace& place) {
  if (!place.marker.empty()) {
    if (auto known = read_marker(place.marker)) return known;
  }
  return read_marker(marker_in(inbox_folder(place.file)));
}

// The tables of the current schema under a number that differs from its own in one bit: that bit
// was flipped. A schema that a newer program wrote has other tables.
bool has_wrong_version(const fs::path& file) {
  const auto tables_of = [](Database& database) {
    const auto statement = database.prepare(
        "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' "
        "ORDER BY name");
    return statement->texts();
  };
  const auto database = Database::open(file, OpenMode::read_only);
  const auto fresh = Database::open({}, OpenMode::memory);
  if (!database || !fresh || !bring_to_current(**fresh)) return false;
  const auto version = (*database)->integer("PRAGMA user_version");
  if (!version) return false;
  const auto differs = static_cast<std::uint64_t>(*version ^ std::int64_t{kSchemaVersion});
  if (!std::has_single_bit(differs)) return false;
  const auto tables = tables_of(**database);
  const auto ours = tables_of(**fresh);
  return tables && ours && *tables == *ours;
}

// SQLite's own words, without what our own add for a file that is left alone.
std::string only_what_is_wrong(const std::string& text, const fs::path& file) {
  std::string wrong = text.substr(0, text.find("; nothing was changed"));
  const std::string name = file.string() + ": ";
  if (const auto at = wrong.rfind(name); at != std::string::npos) wrong.erase(0, at + name.size());
  if (wrong.ends_with(')') && wrong.find('(') == std::string::npos) wrong.pop_back();
  return wrong.empty() ? "it cannot be read" : wrong;
}

// The number of the last record that a history took from its inbox; 0: it cannot say.
std::uint64_t taken_in_by(const fs::path& history) {
  if (history.empty()) return 0;
  const auto database = Database::open(history, OpenMode::read_only);
  if (!database) return 0;
  const auto snapshot = read_snapshot(**database);
  return snapshot ? snapshot->sequence : 0;
}

// It goes on with the same input, and everything told is put into the rules anew.
tl::expected<void, Error> forget_rules_state(const fs::path& history) {
  auto store = Store::open(history);
  if (!store) return tl::unexpected(store.error());
  return (*store)->put_snapshot((*store)->snapshot().sequence, "");
}

class Opening {
 public:
  Opening(const HistoryPlace& place, Instant now)
      : place_(place), file_(real_history(place.file)), now_(now) {
    known_ = known_identity(place);
    own_inbox_ = known_ && read_marker(marker_in(inbox_folder(file_))) == known_;
  }

  tl::expected<OpenedHistory, Error> run() {
    if (holds_nothing(file_) && was_there()) {
      return stand_in(is_there(file_) ? fmt::format("{} is empty", file_.string()) : missing_text(),
                      {});
    }
    if (const auto other = other_identity()) return stand_in(*other, {});
    const std::uint64_t lost_commits = commits_lost_in_log(file_);
    if (lost_commits > 0) keep_log();
    const bool fresh = holds_nothing(file_);
    if (!fresh && !place_.found_damage.empty()) {
      return replace(only_what_is_wrong(place_.found_damage, file_));
    }
    if (!fresh && has_wrong_version(file_)) {
      return replace("the number of its schema, in its first page, is damaged");
    }
    auto store = Store::open(file_);
    auto fault = store ? fault_of_small_tables(**store) : std::optional(store.error());
    // Opened, and yet not to be read: whatever SQLite calls it, rows are damaged.
    if (store && fault && fault->kind == ErrorKind::io) fault->kind = ErrorKind::corrupt;
    if (!fault) {
      if (const std::uint64_t behind = inputs_gone(**store); behind > 0 && copy_knows_more()) {
        store->reset();
        return replace(fmt::format("the last {} inputs that it had taken in are gone", behind),
                       behind);
      }
      if (lost_commits > 0) {
        trouble_ = fmt::format(
            "The end of the history's log was damaged: its last {} changes are lost, but for what "
            "the inbox still had. The log is kept beside the history. Look at the disk.",
            lost_commits);
      }
      return opened(std::move(*store), fresh);
    }
    if (fault->kind == ErrorKind::busy || fault->kind == ErrorKind::newer_version) {
      return tl::unexpected(*fault);
    }
    if (fault->kind == ErrorKind::corrupt) {
      // Another program's file, where no history of ours is known, is none of our business.
      if (!known_ && !says_it_is_a_history(file_)) return tl::unexpected(*fault);
      if (store) store->reset();
      return replace(only_what_is_wrong(fault->text, file_));
    }
    if (store) store->reset();
    return stand_in(fmt::format("{} cannot be written: {}", file_.string(), fault->text), *fault);
  }

 private:
  [[nodiscard]] std::string moment() const { return moment_in_a_name(unix_ms(now_)); }

  // Without a marker the inbox tells it: what its first file does not hold was folded somewhere.
  [[nodiscard]] bool was_there() const {
    if (known_) return true;
    const auto segments = list_segments(inbox_folder(file_), {});
    return segments && !segments->empty() && segments->front().first > 1;
  }

  [[nodiscard]] std::string missing_text() const {
    const bool folder = is_there(file_.parent_path());
    return fmt::format("{} is missing{}", file_.string(),
                       folder && own_inbox_ ? "" : " (is its disk mounted?)");
  }

  [[nodiscard]] std::optional<std::string> other_identity() const {
    if (!known_ || holds_nothing(file_)) return std::nullopt;
    const auto identity = identity_of(file_);
    if (!identity || identity == known_) return std::nullopt;
    return fmt::format("{} is another history than the one that was here", file_.string());
  }

  void keep_log() const {
    std::error_code ignored;  // then it is told all the same
    fs::copy_file(file_.string() + "-wal",
                  fmt::format("{}.damaged-{}-wal", file_.string(), moment()), ignored);
  }

  // Empty: there is none.
  fs::path unpack_copy() {
    const auto copy = unpack_newest_copy(place_, known_.value_or(""));
    if (!copy) return {};
    copy_day_ = copy->day;
    return copy->file;
  }

  // What the history had taken in, for the inbox holds it no more, and does not know of now.
  [[nodiscard]] std::uint64_t inputs_gone(const Store& store) const {
    const auto segments = list_segments(inbox_folder(file_), {});
    if (!segments || segments->empty()) return 0;
    const std::uint64_t next = store.snapshot().sequence + 1;
    return segments->front().first > next ? segments->front().first - next : 0;
  }

  // Entries after the history's last.
  bool copy_knows_more() {
    const fs::path copy = unpack_copy();
    const auto last_entry = [](const fs::path& file) -> std::int64_t {
      const auto database = Database::open(file, OpenMode::read_only);
      if (!database) return 0;
      return (*database)->integer("SELECT coalesce(max(number), 0) FROM journal").value_or(0);
    };
    return !copy.empty() && last_entry(copy) > last_entry(file_);
  }

  // `behind`: so many inputs it had taken in and lost; entries of the copy follow its last then,
  // and the state of its rules does not know of them.
  tl::expected<OpenedHistory, Error> replace(const std::string& found, std::uint64_t behind = 0) {
    auto lock = WriterLock::take(lock_file(file_));
    if (!lock && lock.error().kind == ErrorKind::busy) return tl::unexpected(lock.error());
    const fs::path copy = unpack_copy();
    auto kept = lock ? set_aside(file_, "damaged", moment())
                     : tl::expected<fs::path, Error>(tl::unexpected(lock.error()));
    if (lock) {
      const WriterLock until_here = std::move(*lock);
    }
    if (!kept) {
      return stand_in(fmt::format("{} is damaged ({}), and its disk cannot be written: {}",
                                  file_.string(), found, kept.error().text),
                      kept.error());
    }
    const fs::path part = file_.string() + ".part";
    remove_database(part);
    auto salvaged = salvage(*kept, copy, part);
    const auto not_made = [&](const Error& error) {
      return stand_in(
          fmt::format("{} is damaged ({}) and was set aside as {}, and a new one cannot "
                      "be made: {}",
                      file_.string(), found, kept->string(), error.text),
          {});
    };
    if (!salvaged) return not_made(salvaged.error());
    if (behind > 0) {
      if (auto done = forget_rules_state(part); !done) return not_made(done.error());
      salvaged->rules_state = false;
    }
    if (std::rename(part.c_str(), file_.c_str()) != 0) {
      return not_made(disk_error(errno, "make", file_));
    }
    std::string lost = lost_text(*salvaged);
    if (behind > 0) {
      lost += fmt::format("{}what came after the copy, but for what the inbox has",
                          lost.empty() ? "" : "; ");
    }
    trouble_ = fmt::format(
        "The history was damaged ({}). Brought over into a new one: {}. {}{}The damaged file is "
        "kept as {}. Look at the disk; `torpor restore` brings back what a backup has.",
        found, brought_text(*salvaged), lost.empty() ? "Nothing is lost. " : "Lost: " + lost + ". ",
        salvaged->journal.from_copy > 0 ? fmt::format("The copy is of {}. ", copy_day_) : "",
        kept->string());
    auto store = Store::open(file_);
    if (!store) return tl::unexpected(store.error());
    return opened(std::move(*store), false);
  }

  tl::expected<OpenedHistory, Error> opened(std::unique_ptr<Store> store, bool fresh) {
    OpenedHistory history;
    std::optional<std::string> identity = store->note(kIdentityNote);
    if (!identity || identity->empty()) {
      identity = known_ ? *known_ : new_identity();
      if (auto put = store->put_note(kIdentityNote, *identity); !put) {
        return tl::unexpected(put.error());
      }
    }
    history.inbox = inbox_folder(file_);
    // Without them a loss would pass for a first start; that is no reason not to watch.
    static_cast<void>(write_marker(marker_in(history.inbox), *identity, file_));
    if (!place_.marker.empty()) static_cast<void>(write_marker(place_.marker, *identity, file_));
    if (!place_.marker.empty()) history.other_inboxes.push_back(stand_in_inbox(place_.marker));
    // Of a time when each name of the file had an inbox of its own.
    fs::path by_name = place_.file;
    by_name += ".inbox";
    std::error_code error;
    if (is_there(by_name) && !fs::equivalent(by_name, history.inbox, error) && !error) {
      history.other_inboxes.push_back(by_name);
    }
    if (!place_.spool.empty()) remove_database(stand_in_file(place_.spool));
    history.identity = *identity;
    history.store = std::move(store);
    history.begun = fresh;
    history.trouble = trouble_;
    return history;
  }

  tl::expected<OpenedHistory, Error> stand_in(const std::string& why,
                                              const std::optional<Error>& unwritable) {
    const auto cannot = [&](const std::string& reason) {
      return tl::unexpected(unwritable.value_or(
          Error{ErrorKind::not_found,
                fmt::format("{}, and nothing can stand in for it: {}", why, reason)}));
    };
    if (!place_.may_stand_in) return cannot("start torpord, which watches meanwhile");
    if (place_.spool.empty()) return cannot("there is no place in memory");
    OpenedHistory history;
    // Held where it can be: whoever else writes this history would share its inbox.
    if (auto lock = WriterLock::take(lock_file(file_)); lock) {
      history.lock.emplace(std::move(*lock));
    } else if (lock.error().kind == ErrorKind::busy) {
      return tl::unexpected(lock.error());
    }
    std::error_code error;
    fs::create_directories(place_.spool, error);
    if (error) return cannot(disk_error(error.value(), "make", place_.spool).text);
    const fs::path target = stand_in_file(place_.spool);
    // Whoever holds it is at work.
    if (auto lock = WriterLock::take(lock_file(target)); !lock) return tl::unexpected(lock.error());
    remove_database(target);
    const std::string basis = fill(target, unwritable.has_value());
    auto store = Store::open(target);
    if (!store) return cannot(store.error().text);
    history.store = std::move(*store);
    history.stands_in = true;
    const bool own = unwritable || own_inbox_ || place_.marker.empty();
    history.inbox = own ? inbox_folder(file_) : stand_in_inbox(place_.marker);
    if (auto put = history.store->put_note(kInboxNote, history.inbox.string()); !put) {
      return cannot(put.error().text);
    }
    history.identity = known_.value_or("");
    const std::string kept =
        unwritable
            ? "What comes now is kept in memory, which a restart of the board empties, and "
              "added when the disk can be written again. "
            : fmt::format("What comes now is kept in {} and added when the history is back. ",
                          history.inbox.string());
    const std::string advice =
        unwritable
            ? "Free the disk, mend it or give the history back to its user; it is used again "
              "by itself."
            : "Put it back, and it is used again by itself. If it is gone: stop torpord, then "
              "`torpor restore` takes the newest copy; `torpord --new-history` begins a new "
              "one.";
    history.trouble = fmt::format("The history is away: {}. {}{}{}", why, basis, kept, advice);
    return history;
  }

  // Makes the stand-in, from the history itself where it can be read, else from its last copy.
  std::string fill(const fs::path& target, bool readable) {
    if (readable && !holds_nothing(file_)) {
      const bool large = bytes_of(file_) + bytes_of(file_.string() + "-wal") > kLargestStandIn;
      const fs::path copy = unpack_copy();
      if (salvage(file_, copy, target, large ? Extent::small : Extent::whole)) {
        return large ? "Watching goes on with all it knows of jars, rules and alerts; its readings "
                       "are not shown meanwhile. "
                     : "Watching goes on with all that it holds. ";
      }
      remove_database(target);
    }
    if (const fs::path copy = unpack_copy(); !copy.empty()) {
      std::error_code error;
      fs::rename(copy, target, error);
      if (!error) return fmt::format("Watching goes on with the copy of {}. ", copy_day_);
    }
    return "Watching goes on, but without the jars told before: there is no copy to start from. ";
  }

  const HistoryPlace& place_;
  const fs::path file_;
  const Instant now_;
  std::optional<std::string> known_;
  bool own_inbox_ = false;  // the history's own folder is there, with its inbox
  std::string copy_day_;
  std::string trouble_;
};

}  // namespace

tl::expected<OpenedHistory, Error> open_history(const HistoryPlace& place, Instant now) {
  return Opening(place, now).run();
}

tl::expected<fs::path, Error> begin_new_history(const HistoryPlace& place, Instant now) {
  const fs::path file = real_history(place.file);
  fs::path kept;
  {
    std::error_code error;
    fs::create_directories(file.parent_path(), error);
    auto lock = WriterLock::take(lock_file(file));
    if (!lock) return tl::unexpected(lock.error());
    if (is_there(file) || !holds_nothing(file)) {
      auto aside = set_aside(file, "set-aside", moment_in_a_name(unix_ms(now)));
      if (!aside) return tl::unexpected(aside.error());
      kept = std::move(*aside);
    }
  }
  if (!place.spool.empty()) remove_database(stand_in_file(place.spool));
  auto store = Store::open(file);
  if (!store) return tl::unexpected(store.error());
  const std::string identity = new_identity();
  if (auto put = (*store)->put_note(kIdentityNote, identity); !put) {
    return tl::unexpected(put.error());
  }
  // What the old one had taken in stays with it, and is no gap in the new one.
  const auto segments = list_segments(inbox_folder(file), {});
  const std::uint64_t first = segments && !segments->empty() ? segments->front().first : 1;
  const std::uint64_t taken_in = std::max(first - 1, taken_in_by(kept));
  if (auto put = (*store)->put_snapshot(taken_in, ""); !put) return tl::unexpected(put.error());
  if (auto put = write_marker(marker_in(inbox_folder(file)), identity, file); !put) {
    return tl::unexpected(put.error());
  }
  if (!place.marker.empty()) {
    if (auto put = write_marker(place.marker, identity, file); !put) {
      return tl::unexpected(put.error());
    }
  }
  return kept;
}

std::optional<UnpackedCopy> unpack_newest_copy(const HistoryPlace& place,
                                               const std::string& identity) {
  if (place.spool.empty()) return std::nullopt;
  std::error_code error;
  fs::create_directories(place.spool, error);
  const fs::path target = place.spool / "copy.sqlite3";
  std::vector<fs::path> copies = small_copies(copies_folder(place.file), place.storeroom);
  if (!place.second_copy.empty()) {
    for (fs::path& copy : small_copies(place.second_copy, place.storeroom)) {
      copies.push_back(std::move(copy));
    }
  }
  std::ranges::stable_sort(
      copies, [](const fs::path& a, const fs::path& b) { return a.filename() > b.filename(); });
  for (const fs::path& copy : copies) {
    remove_database(target);
    if (!unpack_small_copy(copy, target)) continue;
    const auto of = identity_of(target);
    if (!identity.empty() && of && of != identity) continue;
    return UnpackedCopy{target, copy.filename().string().substr(place.storeroom.size() + 1, 10)};
  }
  remove_database(target);
  return std::nullopt;
}

bool is_back(const HistoryPlace& place) {
  const fs::path file = real_history(place.file);
  if (holds_nothing(file)) return false;
  const std::optional<std::string> known = known_identity(place);
  const auto identity = identity_of(file);
  if (known && identity && identity != known) return false;
  if (::access(file.c_str(), R_OK | W_OK) != 0) return false;
  const auto lock = WriterLock::take(lock_file(file));
  // Held by ourselves while the history was missing.
  return lock.has_value() || lock.error().kind == ErrorKind::busy;
}

std::optional<Trouble> trouble_at(const HistoryPlace& place) {
  const fs::path file = real_history(place.file);
  const bool stood_in = !place.spool.empty() && is_there(stand_in_file(place.spool));
  const fs::path shown = stood_in ? stand_in_file(place.spool) : file;
  const std::optional<std::string> known = known_identity(place);
  if (!stood_in && known) {
    const auto identity = holds_nothing(file) ? std::nullopt : identity_of(file);
    if (holds_nothing(file) || (identity && identity != known)) {
      return Trouble{
          fmt::format("the history is away: {} {}. Put it back{}. If it is gone: `torpor restore` "
                      "takes the newest copy; `torpord --new-history` begins a new one",
                      file.string(),
                      !is_there(file)       ? "is missing, and it was there before"
                      : holds_nothing(file) ? "is empty, and it was not before"
                                            : "is another history than the one that was here",
                      is_there(file) ? "" : " (is its disk mounted?)"),
          true};
    }
  }
  if (holds_nothing(shown)) return std::nullopt;
  const auto database = Database::open(shown, OpenMode::read_only);
  if (!database) return std::nullopt;  // whoever reads it says why
  const auto note = read_note(**database, kTroubleNote);
  if (!note || !*note || (*note)->empty()) return std::nullopt;
  return Trouble{**note, false};
}

fs::path stand_in_file(const fs::path& spool) { return spool / "history.sqlite3"; }

fs::path stand_in_inbox(const fs::path& marker) {
  fs::path folder = marker;
  folder += ".inbox";
  return folder;
}

}  // namespace torpor::daemon
