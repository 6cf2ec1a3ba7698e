// segment = [ header { record } [ torn ] ]
// header  = "TORPORIN" format:u32 crc:u32          crc of the 12 bytes before it
// record  = length:u32 crc:u32 body                length of body; crc of body
// body    = sequence:u64 kind:u8 payload           payload: inbox_codec.cpp
// torn    = the beginning of a record, perhaps with zeros where the rest should be
// All numbers are little-endian.
//
// Valid:      header only; header, record 7, record 8, record 12 (numbers may be skipped).
// Read past:  header, record 7, damage, record 9: the damage is counted, 9 is found by its length,
//             CRC and rising number.
// Put right:  header, record 7, record 8 with one bit of its body or CRC flipped, or with a wrong
//             length where its CRC fits what stands before record 9 or the end: counted, not lost.
// Torn:       header, record 7, 5 bytes; header, record 7, half of record 8, zeros.
// Refused:    a header of a higher format.
#include "daemon/history/inbox_segment.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <fmt/format.h>

#include <algorithm>
#include <boost/crc.hpp>
#include <cerrno>
#include <charconv>
#include <system_error>

#include "daemon/history/disk_error.h"
#include "daemon/history/inbox_codec.h"
#include "daemon/history/little_endian.h"

namespace torpor::daemon {
namespace {

constexpr std::string_view kMagic = "TORPORIN";
constexpr std::string_view kSuffix = ".inbox";
constexpr std::size_t kSequenceDigits = 20;  // of 2^64 - 1, so that names sort as numbers
constexpr std::size_t kSequenceAndKindBytes = 9;

// A record must be numbered soon after the one before it: chance bytes that look like a length are
// then told apart by the high half of the number, before a CRC is computed.
constexpr std::uint64_t kWidestGap = std::uint64_t{1} << 32;

struct FoundRecord {
  InboxRecord record;
  std::size_t end = 0;
};

// A reading takes 110 bytes. The search for a flipped bit takes the square of the length: some
// milliseconds here.
constexpr std::size_t kLargestMended = 1024;

// The record that begins at `offset`, if a whole, sound one does.
std::optional<FoundRecord> record_at(std::string_view bytes, std::size_t offset,
                                     std::uint64_t above) {
  if (bytes.size() - offset < kRecordHeadBytes + kSequenceAndKindBytes) return std::nullopt;
  const std::size_t length = number_at<std::uint32_t>(bytes, offset);
  const std::size_t body_at = offset + kRecordHeadBytes;
  if (length < kSequenceAndKindBytes || length > kLargestRecordBody) return std::nullopt;
  if (length > bytes.size() - body_at) return std::nullopt;

  const std::string_view body = bytes.substr(body_at, length);
  const auto sequence = number_at<std::uint64_t>(body, 0);
  if (sequence <= above || sequence - above > kWidestGap) return std::nullopt;
  if (number_at<std::uint32_t>(bytes, offset + 4) != crc32_of(body)) return std::nullopt;
  const auto kind = static_cast<std::uint8_t>(body[8]);
  std::optional<InboxPayload> payload = decode_payload(kind, body.substr(kSequenceAndKindBytes));
  if (!payload) return std::nullopt;
  return FoundRecord{{sequence, std::move(*payload)}, body_at + length};
}

// A body that its CRC speaks for.
std::optional<FoundRecord> record_of(std::string_view body, std::size_t body_at,
                                     std::uint64_t above) {
  if (body.size() < kSequenceAndKindBytes) return std::nullopt;
  const auto sequence = number_at<std::uint64_t>(body, 0);
  if (sequence <= above || sequence - above > kWidestGap) return std::nullopt;
  std::optional<InboxPayload> payload =
      decode_payload(static_cast<std::uint8_t>(body[8]), body.substr(kSequenceAndKindBytes));
  if (!payload) return std::nullopt;
  return FoundRecord{{sequence, std::move(*payload)}, body_at + body.size()};
}

// With one bit of body or CRC flipped. A CRC of 32 bits tells any two bodies of this length apart
// that differ in up to three bits (Koopman 2002: Hamming distance 4 up to 91,607 bits), so the bit
// found is the one that was flipped.
std::optional<FoundRecord> with_a_bit_put_right(std::string_view bytes, std::size_t offset,
                                                std::uint64_t above) {
  if (bytes.size() - offset < kRecordHeadBytes) return std::nullopt;
  const std::size_t length = number_at<std::uint32_t>(bytes, offset);
  const std::size_t body_at = offset + kRecordHeadBytes;
  if (length > kLargestMended || length > bytes.size() - body_at) return std::nullopt;
  std::string body(bytes.substr(body_at, length));
  const std::uint32_t wanted = number_at<std::uint32_t>(bytes, offset + 4);
  const std::uint32_t off_by = crc32_of(body) ^ wanted;
  if ((off_by & (off_by - 1)) == 0) return record_of(body, body_at, above);
  for (std::size_t bit = 0; bit < 8 * length; ++bit) {
    const auto flip = static_cast<char>(1 << (bit % 8));
    body[bit / 8] = static_cast<char>(body[bit / 8] ^ flip);
    if (crc32_of(body) == wanted) return record_of(body, body_at, above);
    body[bit / 8] = static_cast<char>(body[bit / 8] ^ flip);
  }
  return std::nullopt;
}

// Whole but for its length: it ends where the next one begins, or with the file.
std::optional<FoundRecord> with_length_put_right(std::string_view bytes, std::size_t offset,
                                                 std::size_t end, std::uint64_t above) {
  if (end < offset + kRecordHeadBytes + kSequenceAndKindBytes) return std::nullopt;
  const std::size_t body_at = offset + kRecordHeadBytes;
  const std::string_view body = bytes.substr(body_at, end - body_at);
  if (number_at<std::uint32_t>(bytes, offset + 4) != crc32_of(body)) return std::nullopt;
  return record_of(body, body_at, above);
}

std::optional<std::size_t> next_record(std::string_view bytes, std::size_t offset,
                                       std::uint64_t above) {
  for (std::size_t at = offset; at < bytes.size(); ++at) {
    if (record_at(bytes, at, above)) return at;
  }
  return std::nullopt;
}

// The bytes from `offset` hold no sound record: are they one that was never finished? Either it
// reaches to the end, or what is there of it is followed by zeros only (blocks that the file system
// gave to the file but did not fill before the power went).
SegmentEnd kind_of_end(std::string_view bytes, std::size_t offset) {
  const std::string_view rest = bytes.substr(offset);
  const std::size_t last_set = rest.find_last_not_of('\0');
  const std::size_t filled = last_set == std::string_view::npos ? 0 : last_set + 1;
  if (filled == 0) return SegmentEnd::zeros;
  if (rest.size() < kRecordHeadBytes) return SegmentEnd::torn;
  const std::size_t length = number_at<std::uint32_t>(bytes, offset);
  const std::size_t extent = kRecordHeadBytes + length;
  if (length > kLargestRecordBody) return SegmentEnd::damaged;
  if (extent > rest.size()) return SegmentEnd::torn;
  // All of it is there, and wrong. A record may end in a few zeros of its own.
  constexpr std::size_t kZerosOfItsOwn = 16;
  const bool blank = rest.size() - filled > kZerosOfItsOwn;
  return filled <= extent && blank ? SegmentEnd::zeros : SegmentEnd::damaged;
}

struct HeaderCheck {
  bool sound = false;
  bool unfinished = false;  // part of one or zeros only
  bool zeros = false;       // a whole one's length of them, at least
  std::optional<std::uint32_t> newer_format;
};

HeaderCheck check_header(std::string_view bytes) {
  HeaderCheck check;
  check.zeros =
      bytes.size() > kSegmentHeaderBytes && bytes.find_first_not_of('\0') == std::string_view::npos;
  check.unfinished = bytes.size() < kSegmentHeaderBytes || check.zeros;
  if (check.unfinished) return check;
  const bool ours = bytes.starts_with(kMagic) &&
                    number_at<std::uint32_t>(bytes, 12) == crc32_of(bytes.substr(0, 12));
  const auto format = number_at<std::uint32_t>(bytes, 8);
  if (ours && format > kInboxFormat) check.newer_format = format;
  check.sound = ours && format == kInboxFormat;
  return check;
}

tl::expected<void, Error> list_folder(const std::filesystem::path& folder, bool in_spool,
                                      std::vector<SegmentPlace>& places) {
  std::error_code error;
  std::filesystem::directory_iterator entry(folder, error);
  for (; !error && entry != std::filesystem::directory_iterator(); entry.increment(error)) {
    const auto first = first_sequence_named(entry->path().filename().string());
    if (first) places.push_back({entry->path(), *first, in_spool});
  }
  const bool absent =
      error == std::errc::no_such_file_or_directory || error == std::errc::not_a_directory;
  if (error && !absent) {
    return tl::unexpected(disk_error(error.value(), "list", folder));
  }
  return {};
}

class Descriptor {
 public:
  explicit Descriptor(int fd) : fd_(fd) {}
  ~Descriptor() {
    if (fd_ >= 0) ::close(fd_);
  }
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  [[nodiscard]] int get() const { return fd_; }

 private:
  int fd_;
};

}  // namespace

std::uint32_t crc32_of(std::string_view bytes) {
  boost::crc_32_type crc;
  crc.process_bytes(bytes.data(), bytes.size());
  return crc.checksum();
}

std::string segment_header() {
  std::string header(kMagic);
  put_number(header, kInboxFormat);
  put_number(header, crc32_of(header));
  return header;
}

EncodedRecord::EncodedRecord(const InboxPayload& payload)
    : bytes_(kRecordHeadBytes + sizeof(std::uint64_t), '\0') {
  bytes_.push_back(static_cast<char>(record_kind(payload)));
  encode_payload(payload, bytes_);
  patch_number(bytes_, 0, static_cast<std::uint32_t>(bytes_.size() - kRecordHeadBytes));
}

void EncodedRecord::set_sequence(std::uint64_t sequence) {
  patch_number(bytes_, kRecordHeadBytes, sequence);
  patch_number(bytes_, 4, crc32_of(std::string_view(bytes_).substr(kRecordHeadBytes)));
}

bool EncodedRecord::too_large() const {
  return bytes_.size() - kRecordHeadBytes > kLargestRecordBody;
}

std::string segment_name(std::uint64_t first_sequence) {
  return fmt::format("{:0{}}{}", first_sequence, kSequenceDigits, kSuffix);
}

std::optional<std::uint64_t> first_sequence_named(std::string_view file_name) {
  if (file_name.size() != kSequenceDigits + kSuffix.size()) return std::nullopt;
  if (!file_name.ends_with(kSuffix)) return std::nullopt;
  std::uint64_t first = 0;
  const char* const end = file_name.data() + kSequenceDigits;
  const auto [stop, error] = std::from_chars(file_name.data(), end, first);
  if (error != std::errc() || stop != end) return std::nullopt;
  return first;
}

SegmentScan scan_segment(std::string_view bytes, ScanFrom from, std::uint64_t above,
                         const RecordVisitor& visit) {
  SegmentScan scan;
  scan.last_sequence = above;
  std::size_t offset = 0;
  if (from == ScanFrom::header && !bytes.empty()) {
    const HeaderCheck header = check_header(bytes);
    scan.newer_format = header.newer_format;
    if (header.unfinished) scan.end = header.zeros ? SegmentEnd::zeros : SegmentEnd::torn;
    if (header.newer_format || header.unfinished) return scan;
    if (!header.sound) ++scan.damaged;
    offset = kSegmentHeaderBytes;
    scan.good_bytes = offset;
  }
  while (offset < bytes.size()) {
    std::optional<FoundRecord> found = record_at(bytes, offset, scan.last_sequence);
    if (!found) {
      found = with_a_bit_put_right(bytes, offset, scan.last_sequence);
      if (found) ++scan.damaged;
    }
    if (!found) {
      const auto next = next_record(bytes, offset + 1, scan.last_sequence);
      const std::size_t end = next.value_or(bytes.size());
      found = with_length_put_right(bytes, offset, end, scan.last_sequence);
      if (!found && !next) {
        scan.end = kind_of_end(bytes, offset);
        return scan;
      }
      ++scan.damaged;
      if (!found) {
        offset = *next;
        continue;
      }
    }
    ++scan.records;
    offset = found->end;
    scan.good_bytes = offset;
    scan.last_sequence = found->record.sequence;
    visit(std::move(found->record));
  }
  return scan;
}

tl::expected<std::vector<SegmentPlace>, Error> list_segments(const std::filesystem::path& folder,
                                                             const std::filesystem::path& spool) {
  std::vector<SegmentPlace> places;
  if (auto listed = list_folder(folder, false, places); !listed) {
    return tl::unexpected(listed.error());
  }
  if (!spool.empty()) {
    if (auto listed = list_folder(spool, true, places); !listed) {
      return tl::unexpected(listed.error());
    }
  }
  // Of two with one first number the one on disk may hold a record whose write was reported as
  // failed; the spool's has the same record and those after it, so it stands last.
  std::ranges::sort(places, [](const SegmentPlace& a, const SegmentPlace& b) {
    return a.first != b.first ? a.first < b.first : a.in_spool < b.in_spool;
  });
  return places;
}

tl::expected<std::optional<std::string>, Error> read_bytes(const std::filesystem::path& path,
                                                           std::size_t from, std::size_t to) {
  const Descriptor file(::open(path.c_str(), O_RDONLY | O_CLOEXEC));
  if (file.get() < 0) {
    if (errno == ENOENT) return std::optional<std::string>();
    return tl::unexpected(disk_error(errno, "open", path));
  }
  struct stat status = {};
  if (::fstat(file.get(), &status) != 0) return tl::unexpected(disk_error(errno, "read", path));
  const std::size_t end = std::min(to, static_cast<std::size_t>(status.st_size));
  std::string bytes(end > from ? end - from : 0, '\0');
  std::size_t done = 0;
  while (done < bytes.size()) {
    const ssize_t got = ::pread(file.get(), bytes.data() + done, bytes.size() - done,
                                static_cast<off_t>(from + done));
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) return tl::unexpected(disk_error(errno, "read", path));
    if (got == 0) break;
    done += static_cast<std::size_t>(got);
  }
  bytes.resize(done);
  return std::optional<std::string>(std::move(bytes));
}

}  // namespace torpor::daemon
