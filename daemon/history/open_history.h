// Opens the history of a storeroom for its one writer, whatever became of it. A history that is
// damaged is replaced by what can be read of it; one that is missing, empty, another one, or on a
// disk that cannot be written, is stood in for until it is back: by a history in memory-backed
// storage, made of its last copy, while the inbox keeps all that comes.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/error.h"
#include "daemon/history/store.h"
#include "daemon/history/writer_lock.h"

namespace torpor::daemon {

struct HistoryPlace {
  std::filesystem::path file;         // as configured; a symbolic link is followed
  std::filesystem::path spool;        // memory-backed; empty: none, and nothing can stand in
  std::filesystem::path marker;       // in the folder of the service's state; empty: none
  std::filesystem::path second_copy;  // folder of copies elsewhere; empty: none
  std::string storeroom;
  // Whoever only brings something and ends had better not begin.
  bool may_stand_in = true;
  // Found while it was written: it is replaced, though what is read at a start can be. Empty: none.
  std::string found_damage = {};
};

struct OpenedHistory {
  std::unique_ptr<Store> store;
  std::optional<WriterLock> lock;  // of the place, while something stands in
  std::filesystem::path inbox;     // the folder of the inbox
  // Folders of inboxes that hold what came while this history was away, or by another name.
  std::vector<std::filesystem::path> other_inboxes;
  bool stands_in = false;
  bool begun = false;  // a new one
  std::string identity;
  std::string trouble;  // sentences for a person: what happened, what to do; empty: nothing did
};

// Errors: busy (another process writes it), newer_version, a file that is no history of ours where
// none was known, and what keeps even a stand-in from being made. `now` names what is set aside.
[[nodiscard]] tl::expected<OpenedHistory, Error> open_history(const HistoryPlace& place,
                                                              Instant now);

// Begins a new history, empty, where there was one: what is there is set aside. What the inbox
// holds and that one had not taken in goes into it. Returns the name of what was set aside; empty:
// nothing was there.
[[nodiscard]] tl::expected<std::filesystem::path, Error> begin_new_history(
    const HistoryPlace& place, Instant now);

// The newest copy of a history that is whole, unpacked into memory-backed storage.
struct UnpackedCopy {
  std::filesystem::path file;
  std::string day;  // "2026-03-02"
};
// `identity` empty: of any history of this storeroom.
[[nodiscard]] std::optional<UnpackedCopy> unpack_newest_copy(const HistoryPlace& place,
                                                             const std::string& identity);

// While something stands in: whether the history could be opened again.
[[nodiscard]] bool is_back(const HistoryPlace& place);

// What every command says first: what the service found wrong when it started, or that the history
// is away and nothing stands in for it, so that there is nothing to show.
struct Trouble {
  std::string text;
  bool away = false;
};
[[nodiscard]] std::optional<Trouble> trouble_at(const HistoryPlace& place);

// What the service found wrong. In table `note`; empty: nothing.
inline constexpr const char kTroubleNote[] = "trouble";
// In what stands in for a history: the folder of its inbox.
inline constexpr const char kInboxNote[] = "inbox";

// What stands in for a history, and where what comes meanwhile is kept if the history's own folder
// is away.
[[nodiscard]] std::filesystem::path stand_in_file(const std::filesystem::path& spool);
[[nodiscard]] std::filesystem::path stand_in_inbox(const std::filesystem::path& marker);

}  // namespace torpor::daemon
