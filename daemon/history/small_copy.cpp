// copy = one Zstandard frame (RFC 8878) with content size and checksum; inside: a history of the
// current schema with rows in `sensor`, `placement`, `journal`, `alert`, `snapshot`,
// `jar_model` and `note`, where the configuration's files are, too: "configuration-1" and so on,
// each name, line feed, text.
#include "daemon/history/small_copy.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>
#include <zstd.h>

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <fstream>
#include <system_error>

#include "daemon/history/database_files.h"
#include "daemon/history/disk_error.h"
#include "daemon/history/history_tables.h"
#include "daemon/history/inbox_segment.h"
#include "daemon/history/schema.h"
#include "daemon/history/segment_file.h"
#include "daemon/history/sqlite.h"

namespace torpor::daemon {
namespace {

namespace fs = std::filesystem;

constexpr std::string_view kCopySuffix = ".copy.zst";
constexpr std::string_view kZstdMagic = "\x28\xb5\x2f\xfd";
// Thousands of jars' models; what claims to be larger is none of ours.
constexpr std::uint64_t kLargestCopy = 1u << 30;
// Levels above cost a small board seconds and save little.
constexpr int kCopyLevel = 6;

// What nobody could work out again. Checkpoints and days of jars can be, from readings; what was
// still to be sent on the night of the copy is old news.
constexpr const char* kSmallTables[] = {"sensor", "placement", "journal",  "alert",
                                        "note",   "snapshot",  "jar_model"};

tl::expected<void, Error> write_file(const fs::path& path, const std::string& bytes) {
  const int fd = ::open(path.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
  if (fd < 0) return tl::unexpected(disk_error(errno, "make", path));
  std::size_t done = 0;
  int failed = 0;
  while (done < bytes.size() && failed == 0) {
    const ssize_t wrote = ::write(fd, bytes.data() + done, bytes.size() - done);
    if (wrote >= 0) {
      done += static_cast<std::size_t>(wrote);
    } else if (errno != EINTR) {
      failed = errno;
    }
  }
  if (failed == 0 && ::fsync(fd) != 0) failed = errno;
  ::close(fd);
  if (failed == 0) return {};
  return tl::unexpected(disk_error(failed, "write", path));
}

tl::expected<void, Error> fill(Database& copy, const fs::path& history,
                               const std::vector<CopiedFile>& configuration) {
  if (auto attached = copy.attach(history, "whole"); !attached) return attached;
  if (auto begun = copy.execute("BEGIN"); !begun) return begun;
  for (const char* table : kSmallTables) {
    // A file that an older program wrote lacks the newer ones.
    const auto there = copy.integer(
        fmt::format("SELECT count(*) FROM whole.sqlite_schema WHERE name = '{}'", table));
    if (!there) return tl::unexpected(there.error());
    if (*there == 0) continue;
    auto taken = copy.execute(fmt::format("INSERT INTO {0} SELECT * FROM whole.{0}", table));
    if (!taken) return taken;
  }
  int number = 0;
  for (const CopiedFile& file : configuration) {
    const auto note = copy.prepare("INSERT OR REPLACE INTO note (name, text) VALUES (?1, ?2)");
    note->bind_text(1, fmt::format("configuration-{}", ++number))
        .bind_text(2, file.name + "\n" + file.text);
    if (auto put = note->run(); !put) return put;
  }
  return copy.execute("COMMIT");
}

std::string packed(const std::string& bytes) {
  ZSTD_CCtx* const context = ZSTD_createCCtx();
  ZSTD_CCtx_setParameter(context, ZSTD_c_compressionLevel, kCopyLevel);
  ZSTD_CCtx_setParameter(context, ZSTD_c_checksumFlag, 1);
  std::string frame(ZSTD_compressBound(bytes.size()), '\0');
  const std::size_t size =
      ZSTD_compress2(context, frame.data(), frame.size(), bytes.data(), bytes.size());
  ZSTD_freeCCtx(context);
  frame.resize(ZSTD_isError(size) != 0 ? 0 : size);
  return frame;
}

void forget_old_copies(const fs::path& folder, const std::string& storeroom) {
  const std::vector<fs::path> copies = small_copies(folder, storeroom);
  for (std::size_t i = kCopiesKept; i < copies.size(); ++i) {
    std::error_code ignored;  // tried again with the next copy
    fs::remove(copies[i], ignored);
  }
}

}  // namespace

fs::path copies_folder(const fs::path& history) {
  fs::path folder = real_history(history);
  folder += ".copies";
  return folder;
}

tl::expected<fs::path, Error> make_small_copy(const fs::path& history, const std::string& storeroom,
                                              const std::string& day,
                                              const std::vector<CopiedFile>& configuration,
                                              const fs::path& folder) {
  std::error_code error;
  if (!fs::exists(real_history(history), error)) {
    return tl::unexpected(Error{
        ErrorKind::not_found, fmt::format("there is no history at {} to copy", history.string())});
  }
  fs::create_directories(folder, error);
  if (error) return tl::unexpected(disk_error(error.value(), "make the folder", folder));
  const fs::path target = folder / fmt::format("{}-{}{}", storeroom, day, kCopySuffix);
  // The history's own folder takes SQLite's locks; a stick with FAT or a share may not.
  const ScratchDatabase whole(copies_folder(history).string() + ".making");
  {
    auto copy = Database::open(whole.path(), OpenMode::create);
    if (!copy) return tl::unexpected(copy.error());
    // It is read back at once and then removed: what is synced is the packed one.
    if (auto set = (*copy)->execute("PRAGMA journal_mode = MEMORY; PRAGMA synchronous = OFF");
        !set) {
      return tl::unexpected(set.error());
    }
    if (auto made = bring_to_current(**copy); !made) return tl::unexpected(made.error());
    if (auto filled = fill(**copy, real_history(history), configuration); !filled) {
      Error fault = filled.error();
      fault.text = fmt::format("the nightly copy cannot be made: {}", fault.text);
      return tl::unexpected(std::move(fault));
    }
  }
  const auto bytes = read_bytes(whole.path());
  if (!bytes) return tl::unexpected(bytes.error());
  const fs::path part = target.string() + ".part";
  if (auto written = write_file(part, packed(bytes->value_or(""))); !written) {
    fs::remove(part, error);
    return tl::unexpected(written.error());
  }
  if (std::rename(part.c_str(), target.c_str()) != 0) {
    return tl::unexpected(disk_error(errno, "make", target));
  }
  if (auto synced = sync_folder(folder); !synced) return tl::unexpected(synced.error());
  forget_old_copies(folder, storeroom);
  return target;
}

std::vector<fs::path> small_copies(const fs::path& folder, const std::string& storeroom) {
  std::vector<fs::path> copies;
  std::error_code error;
  for (fs::directory_iterator entry(folder, error), end; !error && entry != end;
       entry.increment(error)) {
    const std::string name = entry->path().filename().string();
    // NAME-2026-03-02.copy.zst
    if (name.size() == storeroom.size() + 11 + kCopySuffix.size() &&
        name.starts_with(storeroom + "-") && name.ends_with(kCopySuffix)) {
      copies.push_back(entry->path());
    }
  }
  std::ranges::sort(copies, std::greater<>());
  return copies;
}

bool is_small_copy(const fs::path& file) {
  std::string magic(kZstdMagic.size(), '\0');
  std::ifstream stream(file, std::ios::binary);
  stream.read(magic.data(), static_cast<std::streamsize>(magic.size()));
  return stream && magic == kZstdMagic;
}

tl::expected<void, Error> unpack_small_copy(const fs::path& copy, const fs::path& target) {
  std::error_code error;
  if (fs::exists(target, error)) {
    return tl::unexpected(
        Error{ErrorKind::exists, fmt::format("{} exists already", target.string())});
  }
  const auto frame = read_bytes(copy);
  if (!frame) return tl::unexpected(frame.error());
  if (!*frame) {
    return tl::unexpected(
        Error{ErrorKind::not_found, fmt::format("there is no file {}", copy.string())});
  }
  const auto damaged = [&copy] {
    return tl::unexpected(Error{
        ErrorKind::corrupt,
        fmt::format("{} is damaged, or no copy of a history: its checksum does not fit; take the "
                    "one of another night",
                    copy.string())});
  };
  const unsigned long long size = ZSTD_getFrameContentSize((*frame)->data(), (*frame)->size());
  if (size == ZSTD_CONTENTSIZE_UNKNOWN || size == ZSTD_CONTENTSIZE_ERROR || size > kLargestCopy) {
    return damaged();
  }
  std::string bytes(static_cast<std::size_t>(size), '\0');
  const std::size_t got =
      ZSTD_decompress(bytes.data(), bytes.size(), (*frame)->data(), (*frame)->size());
  if (ZSTD_isError(got) != 0 || got != bytes.size()) return damaged();
  return write_file(target, bytes);
}

std::vector<CopiedFile> copied_configuration(const fs::path& history) {
  std::vector<CopiedFile> files;
  const auto database = Database::open(history, OpenMode::immutable);
  if (!database) return files;
  for (int number = 1;; ++number) {
    const auto note = read_note(**database, fmt::format("configuration-{}", number));
    if (!note || !*note) return files;
    const std::size_t line = (*note)->find('\n');
    if (line == std::string::npos) return files;
    files.push_back({(*note)->substr(0, line), (*note)->substr(line + 1)});
  }
}

}  // namespace torpor::daemon
