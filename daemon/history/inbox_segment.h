// One segment of the inbox as bytes: its header, its records, and what damage can be read past. No
// file is written here; segment_file.h does that. FORMAT.md draws the layout.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/history/inbox.h"

namespace torpor::daemon {

// Written at the start of each segment. A reader refuses a higher one.
inline constexpr std::uint32_t kInboxFormat = 1;
inline constexpr std::size_t kSegmentHeaderBytes = 16;
// Bytes of a record before its body: length and CRC.
inline constexpr std::size_t kRecordHeadBytes = 8;
// Largest body of a record. A message of kLargestPayload (256 KiB) holds at most about 32,000
// readings of 31 bytes; a length above this is damage, which keeps the search for the next record
// short.
inline constexpr std::uint32_t kLargestRecordBody = 4u << 20;

// CRC-32/ISO-HDLC (the one of zip and Ethernet).
[[nodiscard]] std::uint32_t crc32_of(std::string_view bytes);

[[nodiscard]] std::string segment_header();

// A whole record, ready to be written. set_sequence() may be called again: the payload is encoded
// once, outside of any lock, and numbered when its place is known.
class EncodedRecord {
 public:
  explicit EncodedRecord(const InboxPayload& payload);
  void set_sequence(std::uint64_t sequence);
  [[nodiscard]] const std::string& bytes() const { return bytes_; }
  [[nodiscard]] bool too_large() const;

 private:
  std::string bytes_;
};

// "00000000000000000042.inbox": by name is by sequence.
[[nodiscard]] std::string segment_name(std::uint64_t first_sequence);
// nullopt: not a segment's name.
[[nodiscard]] std::optional<std::uint64_t> first_sequence_named(std::string_view file_name);

// How the bytes of a segment end.
enum class SegmentEnd {
  whole,    // with a whole record, or empty
  torn,     // with a record that was being written when the process or the machine stopped
  zeros,    // with a record of which zeros took the place: the power went, or the disk lost them
  damaged,  // with bytes that can be no unfinished record
};
struct SegmentScan {
  std::uint64_t records = 0;
  std::uint64_t damaged = 0;  // places before a readable record: skipped, or put right
  SegmentEnd end = SegmentEnd::whole;
  std::size_t good_bytes = 0;       // where in the bytes given the last readable record ends
  std::uint64_t last_sequence = 0;  // of the last readable record; `above` if there is none
  std::optional<std::uint32_t> newer_format;  // its format, if higher than ours: nothing was read
};

// Where the bytes given to scan_segment() begin: with the segment's header, or with a record.
enum class ScanFrom { header, record };
using RecordVisitor = std::function<void(InboxRecord&& record)>;
// Visits the readable records in order. Numbers only rise within a segment: the first is greater
// than `above`, which at the header is one less than the number in the file's name.
SegmentScan scan_segment(std::string_view bytes, ScanFrom from, std::uint64_t above,
                         const RecordVisitor& visit);

// A segment's place. The spool is listed with the disk: sequences order them, since each file is
// left for good when the other takes over.
struct SegmentPlace {
  std::filesystem::path path;
  std::uint64_t first = 0;
  bool in_spool = false;
  friend bool operator==(const SegmentPlace&, const SegmentPlace&) = default;
};
// The segments of both folders by first sequence. A folder that is absent (or an empty name) has
// none.
[[nodiscard]] tl::expected<std::vector<SegmentPlace>, Error> list_segments(
    const std::filesystem::path& folder, const std::filesystem::path& spool);

// Bytes [from, to) of a file, or as many of them as there are. nullopt inside: there is no such
// file (any more).
[[nodiscard]] tl::expected<std::optional<std::string>, Error> read_bytes(
    const std::filesystem::path& path, std::size_t from = 0,
    std::size_t to = static_cast<std::size_t>(-1));

}  // namespace torpor::daemon
