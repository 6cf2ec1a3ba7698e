// file    = { page }                    page 1 begins with a header of 100 bytes
// page    = kind:u8 ... cells:u16 ...   kind 2 and 5 inside, 10 and 13 at the leaves of a tree
// cell    = [ child:u32 ] size:varint [ rowid:varint ] record [ overflow:u32 ]
// record  = head:varint { serial:varint } { value }
// log     = header:32 { frame }         frame = page:u32 pages:u32 salts:u64 check:u64 page
//                                       `pages` is not 0 where a commit ends
// All numbers are big-endian. SQLite file format, sections 1.3, 1.5, 1.6, 2.1 and 4.
#include "daemon/history/raw_rows.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <bit>
#include <cerrno>
#include <map>
#include <optional>
#include <set>
#include <string_view>
#include <utility>

#include "daemon/history/disk_error.h"

namespace torpor::daemon {
namespace {

// What every history was written with.
constexpr std::size_t kPageSize = 4096;
constexpr std::size_t kLogHeader = 32;
constexpr std::size_t kFrameHeader = 24;
// A snapshot of a thousand sensors takes some megabytes; a larger size is damage.
constexpr std::uint64_t kLargestRow = 256u << 20;

std::uint32_t u32_at(std::string_view bytes, std::size_t at) {
  std::uint32_t number = 0;
  for (std::size_t i = 0; i < 4; ++i)
    number = number << 8 | static_cast<unsigned char>(bytes[at + i]);
  return number;
}

std::uint16_t u16_at(std::string_view bytes, std::size_t at) {
  return static_cast<std::uint16_t>(static_cast<unsigned char>(bytes[at]) << 8 |
                                    static_cast<unsigned char>(bytes[at + 1]));
}

// Up to nine bytes, seven bits in each but the ninth. nullopt: the bytes end before.
std::optional<std::uint64_t> take_varint(std::string_view& bytes) {
  std::uint64_t number = 0;
  for (std::size_t i = 0; i < 9 && i < bytes.size(); ++i) {
    const auto byte = static_cast<unsigned char>(bytes[i]);
    number = i == 8 ? number << 8 | byte : number << 7 | (byte & 0x7fu);
    if (i == 8 || byte < 0x80) {
      bytes.remove_prefix(i + 1);
      return number;
    }
  }
  return std::nullopt;
}

// A file that is read where it can be: a bad sector costs what stood in it.
class OpenFile {
 public:
  explicit OpenFile(const std::filesystem::path& path)
      : fd_(::open(path.c_str(), O_RDONLY | O_CLOEXEC)) {}
  ~OpenFile() {
    if (fd_ >= 0) ::close(fd_);
  }
  OpenFile(const OpenFile&) = delete;
  OpenFile& operator=(const OpenFile&) = delete;

  [[nodiscard]] bool is_open() const { return fd_ >= 0; }
  [[nodiscard]] std::uint64_t size() const {
    struct stat status = {};
    return fd_ >= 0 && ::fstat(fd_, &status) == 0 ? static_cast<std::uint64_t>(status.st_size) : 0;
  }
  // Empty: they cannot be read in whole.
  [[nodiscard]] std::string read(std::uint64_t at, std::size_t count) const {
    std::string bytes(count, '\0');
    std::size_t done = 0;
    while (done < count) {
      const ssize_t got =
          ::pread(fd_, bytes.data() + done, count - done, static_cast<off_t>(at + done));
      if (got < 0 && errno == EINTR) continue;
      if (got <= 0) return {};
      done += static_cast<std::size_t>(got);
    }
    return bytes;
  }

 private:
  const int fd_;
};

// Where the log holds the newest form of a page, as far as its checksums go.
struct LogPages {
  std::map<std::uint32_t, std::uint64_t> at;  // of the page's bytes in the log
  std::uint32_t pages_in_all = 0;             // after the last commit; 0: none
  std::uint64_t lost_commits = 0;
};

struct LogSums {
  std::uint32_t first = 0, second = 0;
  // Section 4.2. `big`: the words of the sums are big-endian.
  void add(std::string_view bytes, bool big) {
    for (std::size_t at = 0; at + 8 <= bytes.size(); at += 8) {
      const auto word = [&](std::size_t from) {
        const std::uint32_t number = u32_at(bytes, from);
        return big ? number : __builtin_bswap32(number);
      };
      first += word(at) + second;
      second += word(at + 4) + first;
    }
  }
};

LogPages read_log(const std::filesystem::path& file) {
  LogPages log;
  const OpenFile bytes(file);
  if (!bytes.is_open()) return log;
  const std::string header = bytes.read(0, kLogHeader);
  if (header.empty()) return log;
  const std::string salts = header.substr(16, 8);
  const bool big = (u32_at(header, 0) & 1) != 0;
  LogSums sums;
  sums.add(std::string_view(header).substr(0, 24), big);
  bool sound = (u32_at(header, 0) & ~1u) == 0x377f0682 && sums.first == u32_at(header, 24) &&
               sums.second == u32_at(header, 28);
  const bool header_sound = sound;
  std::map<std::uint32_t, std::uint64_t> uncommitted;
  std::string salts_seen;
  bool behind_damage = !header_sound;
  for (std::uint64_t at = kLogHeader; at + kFrameHeader + kPageSize <= bytes.size();
       at += kFrameHeader + kPageSize) {
    const std::string frame = bytes.read(at, kFrameHeader + kPageSize);
    const std::string_view view(frame);
    // A damaged header takes the whole log with it: its frames agree on the salts, then.
    if (at == kLogHeader && !frame.empty()) salts_seen = frame.substr(8, 8);
    const bool ours = !frame.empty() && view.substr(8, 8) == (header_sound ? salts : salts_seen);
    if (sound && ours) {
      sums.add(view.substr(0, 8), big);
      sums.add(view.substr(kFrameHeader), big);
      sound = sums.first == u32_at(view, 16) && sums.second == u32_at(view, 20);
    } else {
      // Of an earlier use of the log, which ends here; unless commits of ours follow.
      sound = false;
      behind_damage = true;
    }
    if (!sound) {
      // A commit that was being written when the process ended leaves one bad frame, the last.
      if (ours && u32_at(view, 4) != 0 && behind_damage) ++log.lost_commits;
      behind_damage = true;
      continue;
    }
    uncommitted[u32_at(view, 0)] = at + kFrameHeader;
    if (u32_at(view, 4) == 0) continue;
    for (const auto& [page, where] : uncommitted) log.at[page] = where;
    uncommitted.clear();
    log.pages_in_all = u32_at(view, 4);
  }
  return log;
}

// Pages by number, from 1, as the log leaves them.
class RawPages {
 public:
  explicit RawPages(const std::filesystem::path& file)
      : file_(file),
        log_path_(file.string() + "-wal"),
        log_file_(log_path_),
        log_(read_log(log_path_)) {
    const std::uint64_t in_file = file_.size() / kPageSize;
    count_ = log_.at.empty() ? in_file : std::max<std::uint64_t>(in_file, log_.at.rbegin()->first);
  }
  [[nodiscard]] bool is_open() const { return file_.is_open(); }
  [[nodiscard]] std::uint64_t count() const { return count_; }
  [[nodiscard]] std::uint64_t lost_commits() const { return log_.lost_commits; }
  [[nodiscard]] std::string page(std::uint32_t number) const {
    if (number == 0 || number > count_) return {};
    if (const auto in_log = log_.at.find(number); in_log != log_.at.end()) {
      return log_file_.read(in_log->second, kPageSize);
    }
    return file_.read((number - 1) * std::uint64_t{kPageSize}, kPageSize);
  }

 private:
  const OpenFile file_;
  const std::filesystem::path log_path_;
  const OpenFile log_file_;
  const LogPages log_;
  std::uint64_t count_ = 0;
};

std::int64_t signed_of(std::string_view bytes) {
  std::uint64_t number = 0;
  if (!bytes.empty() && (static_cast<unsigned char>(bytes[0]) & 0x80) != 0) number = ~0ull;
  for (const char c : bytes) number = number << 8 | static_cast<unsigned char>(c);
  return static_cast<std::int64_t>(number);
}

std::optional<std::size_t> size_of_serial(std::uint64_t serial) {
  constexpr std::size_t kSizes[] = {0, 1, 2, 3, 4, 6, 8, 8, 0, 0};
  if (serial < 10) return kSizes[serial];
  if (serial < 12) return std::nullopt;
  return static_cast<std::size_t>((serial - 12) / 2);
}

RawValue value_of(std::uint64_t serial, std::string_view bytes) {
  if (serial == 0) return {};
  if (serial == 7) return std::bit_cast<double>(signed_of(bytes));
  if (serial == 8 || serial == 9) return static_cast<std::int64_t>(serial - 8);
  if (serial < 8) return signed_of(bytes);
  if (serial % 2 == 0) return RawBlob{std::string(bytes)};
  return std::string(bytes);
}

std::optional<std::vector<RawValue>> values_of(std::string_view record) {
  std::string_view rest = record;
  const auto head = take_varint(rest);
  const std::size_t taken = record.size() - rest.size();
  if (!head || *head < taken || *head > record.size()) return std::nullopt;
  std::string_view serials = record.substr(taken, static_cast<std::size_t>(*head) - taken);
  std::string_view body = record.substr(static_cast<std::size_t>(*head));
  std::vector<RawValue> values;
  while (!serials.empty()) {
    const auto serial = take_varint(serials);
    const auto size = serial ? size_of_serial(*serial) : std::nullopt;
    if (!size || *size > body.size()) return std::nullopt;
    values.push_back(value_of(*serial, body.substr(0, *size)));
    body.remove_prefix(*size);
  }
  if (!body.empty()) return std::nullopt;
  return values;
}

class Scan {
 public:
  Scan(const RawPages& pages, const std::function<void(const RawRow&)>& visit)
      : pages_(pages), visit_(visit) {}

  RawScan run() {
    scan_.pages = pages_.count();
    scan_.lost_commits = pages_.lost_commits();
    read_free_list();
    std::vector<std::uint32_t> neither;
    for (std::uint32_t number = 1; number <= pages_.count(); ++number) {
      if (free_.contains(number)) continue;
      const std::string page = pages_.page(number);
      if (page.empty() || !read_page(number, page)) neither.push_back(number);
    }
    for (const std::uint32_t number : neither) {
      if (!of_long_rows_.contains(number)) ++scan_.unreadable_pages;
    }
    return scan_;
  }

 private:
  // Trunks of free pages; a list that cannot be followed is taken as far as it goes.
  void read_free_list() {
    const std::string first = pages_.page(1);
    if (first.empty() || !first.starts_with(std::string_view("SQLite format 3\0", 16))) return;
    std::uint32_t trunk = u32_at(first, 32);
    while (trunk != 0 && trunk <= pages_.count() && !free_.contains(trunk)) {
      const std::string page = pages_.page(trunk);
      if (page.empty()) return;
      const std::uint32_t leaves = u32_at(page, 4);
      if (leaves > kPageSize / 4 - 2) return;
      free_.insert(trunk);
      for (std::uint32_t i = 0; i < leaves; ++i) {
        const std::uint32_t leaf = u32_at(page, 8 + 4 * i);
        if (leaf != 0 && leaf <= pages_.count()) free_.insert(leaf);
      }
      trunk = u32_at(page, 0);
    }
  }

  // False: it is no page of a tree.
  bool read_page(std::uint32_t number, const std::string& page) {
    const std::size_t begin = number == 1 ? 100 : 0;
    const auto kind = static_cast<unsigned char>(page[begin]);
    if (kind != 2 && kind != 5 && kind != 10 && kind != 13) return false;
    const std::size_t head = kind == 2 || kind == 5 ? 12 : 8;
    const std::size_t cells = u16_at(page, begin + 3);
    if (begin + head + 2 * cells > kPageSize) return false;
    if (kind == 5) return true;  // it leads to rows and holds none
    for (std::size_t i = 0; i < cells; ++i) {
      const std::size_t at = u16_at(page, begin + head + 2 * i);
      const bool inside = at >= begin + head + 2 * cells && at < kPageSize;
      std::optional<RawRow> row;
      if (inside) row = row_at(page, at, kind);
      if (row) {
        visit_(*row);
      } else {
        ++scan_.unreadable_rows;
      }
    }
    return true;
  }

  std::optional<RawRow> row_at(std::string_view page, std::size_t at, unsigned char kind) {
    RawRow row;
    row.keyed = kind != 13;
    std::string_view cell = page.substr(at);
    if (kind == 2) {
      if (cell.size() < 4) return std::nullopt;
      cell.remove_prefix(4);
    }
    const auto size = take_varint(cell);
    if (!size || *size > kLargestRow || *size > pages_.count() * kPageSize) return std::nullopt;
    if (kind == 13) {
      const auto rowid = take_varint(cell);
      if (!rowid) return std::nullopt;
      row.rowid = static_cast<std::int64_t>(*rowid);
    }
    const auto record = whole_record(cell, static_cast<std::size_t>(*size), row.keyed);
    if (!record) return std::nullopt;
    auto values = values_of(*record);
    if (!values) return std::nullopt;
    row.values = std::move(*values);
    return row;
  }

  // Section 1.6: how much of a long record stands in its page, and the rest in a chain of others.
  std::optional<std::string> whole_record(std::string_view cell, std::size_t size, bool keyed) {
    constexpr std::size_t kUsable = kPageSize;
    const std::size_t most = keyed ? (kUsable - 12) * 64 / 255 - 23 : kUsable - 35;
    constexpr std::size_t kLeast = (kUsable - 12) * 32 / 255 - 23;
    if (size <= most) {
      if (cell.size() < size) return std::nullopt;
      return std::string(cell.substr(0, size));
    }
    std::size_t here = kLeast + (size - kLeast) % (kUsable - 4);
    if (here > most) here = kLeast;
    if (cell.size() < here + 4) return std::nullopt;
    std::string record(cell.substr(0, here));
    std::uint32_t next = u32_at(cell, here);
    while (record.size() < size) {
      if (free_.contains(next)) return std::nullopt;
      const std::string page = pages_.page(next);
      if (page.empty()) return std::nullopt;
      of_long_rows_.insert(next);
      record += page.substr(4, std::min(kUsable - 4, size - record.size()));
      next = u32_at(page, 0);
    }
    if (next != 0) return std::nullopt;
    return record;
  }

  const RawPages& pages_;
  const std::function<void(const RawRow&)>& visit_;
  RawScan scan_;
  std::set<std::uint32_t> free_;
  std::set<std::uint32_t> of_long_rows_;
};

}  // namespace

tl::expected<RawScan, Error> scan_rows(const std::filesystem::path& file,
                                       const std::function<void(const RawRow&)>& visit) {
  const RawPages pages(file);
  if (!pages.is_open()) return tl::unexpected(disk_error(errno, "open", file));
  return Scan(pages, visit).run();
}

std::uint64_t commits_lost_in_log(const std::filesystem::path& file) {
  return read_log(file.string() + "-wal").lost_commits;
}

}  // namespace torpor::daemon
