// marker   = "torpor history\n" "identity " 32 digits "\n" "file " path "\n"
#include "daemon/history/history_marker.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <fstream>
#include <random>
#include <string_view>
#include <system_error>

#include "daemon/history/disk_error.h"
#include "daemon/history/history_tables.h"
#include "daemon/history/segment_file.h"

namespace torpor::daemon {
namespace {

constexpr std::string_view kMarkerBegins = "torpor history\nidentity ";
constexpr std::size_t kIdentityDigits = 32;

bool is_identity(std::string_view text) {
  return text.size() == kIdentityDigits &&
         text.find_first_not_of("0123456789abcdef") == std::string_view::npos;
}

}  // namespace

std::string new_identity() {
  std::random_device chance;
  std::string identity;
  while (identity.size() < kIdentityDigits) {
    identity += fmt::format("{:08x}", static_cast<std::uint32_t>(chance()));
  }
  return identity;
}

std::optional<std::string> identity_of(const std::filesystem::path& file) {
  std::error_code absent;
  if (!std::filesystem::exists(file, absent)) return std::nullopt;
  auto database = Database::open(file, OpenMode::read_only);
  if (!database) return std::nullopt;
  const auto note = read_note(**database, kIdentityNote);
  return note && *note && is_identity(**note) ? *note : std::nullopt;
}

std::filesystem::path marker_in(const std::filesystem::path& inbox) { return inbox / "history"; }

std::optional<std::string> read_marker(const std::filesystem::path& marker) {
  std::string text(kMarkerBegins.size() + kIdentityDigits, '\0');
  std::ifstream file(marker, std::ios::binary);
  file.read(text.data(), static_cast<std::streamsize>(text.size()));
  if (!file || !text.starts_with(kMarkerBegins)) return std::nullopt;
  text.erase(0, kMarkerBegins.size());
  return is_identity(text) ? std::optional(text) : std::nullopt;
}

tl::expected<void, Error> write_marker(const std::filesystem::path& marker,
                                       const std::string& identity,
                                       const std::filesystem::path& history) {
  if (read_marker(marker) == identity) return {};
  std::error_code error;
  std::filesystem::create_directories(marker.parent_path(), error);
  if (error) return tl::unexpected(disk_error(error.value(), "make", marker.parent_path()));
  const std::string part = marker.string() + ".part";
  const int fd = ::open(part.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644);
  if (fd < 0) return tl::unexpected(disk_error(errno, "make", part));
  const std::string text =
      fmt::format("{}{}\nfile {}\n", kMarkerBegins, identity, history.string());
  const bool written = ::write(fd, text.data(), text.size()) == static_cast<ssize_t>(text.size());
  const int failed = written && ::fsync(fd) == 0 ? 0 : errno;
  ::close(fd);
  if (failed != 0) return tl::unexpected(disk_error(failed, "write", part));
  if (std::rename(part.c_str(), marker.c_str()) != 0) {
    return tl::unexpected(disk_error(errno, "make", marker));
  }
  return sync_folder(marker.parent_path());
}

}  // namespace torpor::daemon
