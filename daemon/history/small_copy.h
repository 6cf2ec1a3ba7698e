// A history in small: journal, alerts, what the rules and the jars' models know, without readings;
// one compressed file with a checksum, together with the configuration. Made every night beside the
// history, and in a second place where one is named. What a lost or damaged history starts again
// from.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/error.h"
#include "daemon/history/store.h"

namespace torpor::daemon {

// A file of the configuration, as it was when the copy was made.
struct CopiedFile {
  std::string name;  // as the configuration names it; its own is the first
  std::string text;
  friend bool operator==(const CopiedFile&, const CopiedFile&) = default;
};

// One a day stays, for so many days: damage that nobody noticed is in the newest ones, too.
inline constexpr std::size_t kCopiesKept = 7;

// Beside a history.
[[nodiscard]] std::filesystem::path copies_folder(const std::filesystem::path& history);

// Makes, or replaces, the copy of `day` ("2026-03-02") in `folder`, mode 0600, and removes those of
// the storeroom beyond kCopiesKept. Reads the history's last commit; a writer may have it open.
// Returns the file.
[[nodiscard]] tl::expected<std::filesystem::path, Error> make_small_copy(
    const std::filesystem::path& history, const std::string& storeroom, const std::string& day,
    const std::vector<CopiedFile>& configuration, const std::filesystem::path& folder);

// The copies of a storeroom in a folder, the newest first. A folder that is not there has none.
[[nodiscard]] std::vector<std::filesystem::path> small_copies(const std::filesystem::path& folder,
                                                              const std::string& storeroom);

// Whether a file is one of them, by its first bytes.
[[nodiscard]] bool is_small_copy(const std::filesystem::path& file);

// Unpacks a copy into a history file of its own, mode 0600, which must not exist. Kind corrupt: its
// checksum does not fit.
[[nodiscard]] tl::expected<void, Error> unpack_small_copy(const std::filesystem::path& copy,
                                                          const std::filesystem::path& target);

// What an unpacked copy brought of the configuration.
[[nodiscard]] std::vector<CopiedFile> copied_configuration(const std::filesystem::path& history);

}  // namespace torpor::daemon
