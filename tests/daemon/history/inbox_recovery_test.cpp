// What an inbox makes of files that end early or were damaged.
#include <doctest/doctest.h>

#include "daemon/history/inbox.h"
#include "daemon/history/inbox_segment.h"
#include "samples.h"
#include "test_files.h"

namespace torpor::daemon {
namespace {

using Numbers = std::vector<std::uint64_t>;

// A segment of records 1 to `count`, and where each begins and the last ends.
struct Segment {
  std::string bytes;
  std::vector<std::size_t> starts;
};

Segment segment_of(int count) {
  Segment segment{segment_header(), {}};
  for (int i = 1; i <= count; ++i) {
    segment.starts.push_back(segment.bytes.size());
    EncodedRecord record(one_of_each()[static_cast<std::size_t>(i % 4)]);
    record.set_sequence(static_cast<std::uint64_t>(i));
    segment.bytes += record.bytes();
  }
  segment.starts.push_back(segment.bytes.size());
  return segment;
}

tl::expected<std::unique_ptr<Inbox>, Error> open_with(const std::filesystem::path& folder,
                                                      const std::string& bytes,
                                                      std::uint64_t first = 1) {
  std::filesystem::remove_all(folder);
  std::filesystem::create_directories(folder);
  write_bytes(folder / segment_name(first), bytes);
  InboxOptions options;
  options.folder = folder;
  return Inbox::open(options, 0);
}

TEST_CASE("a last record torn at any byte is cut off, and its number is given again") {
  const TempFolder scratch;
  const auto folder = scratch / "inbox";
  for (const int count : {1, 2, 3, 4}) {  // one of each kind is last
    const Segment segment = segment_of(count);
    const std::size_t start = segment.starts[static_cast<std::size_t>(count - 1)];
    for (std::size_t size = start; size < segment.bytes.size(); ++size) {
      CAPTURE(size);
      const auto inbox = must(open_with(folder, segment.bytes.substr(0, size)));
      CHECK(inbox->damaged() == 0);
      CHECK(inbox->last_sequence() == static_cast<std::uint64_t>(count - 1));
      CHECK(inbox->read_after(0).size() == static_cast<std::size_t>(count - 1));
      CHECK(must(inbox->append(tick(7))).sequence == static_cast<std::uint64_t>(count));
      CHECK(numbers_of(peek_inbox(folder, {}, 0)) == numbers_of(inbox->read_after(0)));
      CHECK(inbox->read_after(0).back().payload == InboxPayload(tick(7)));
    }
  }
}

TEST_CASE("a header torn at any byte is an empty file, and is removed") {
  const TempFolder scratch;
  const auto folder = scratch / "inbox";
  for (std::size_t size = 0; size <= kSegmentHeaderBytes; ++size) {
    const auto inbox = must(open_with(folder, segment_header().substr(0, size)));
    CHECK(inbox->damaged() == 0);
    CHECK(inbox->last_sequence() == 0);
    CHECK(files_in(folder).empty());
  }
}

TEST_CASE("a last record of which only zeros reached the disk is torn, from any byte on") {
  const TempFolder scratch;
  const Segment segment = segment_of(3);
  for (std::size_t zeros = segment.starts[2]; zeros < segment.bytes.size(); ++zeros) {
    CAPTURE(zeros);
    std::string bytes = segment.bytes.substr(0, zeros);
    if (bytes.size() > segment.starts[2] &&
        segment.bytes.find_first_not_of('\0', zeros) == std::string::npos) {
      continue;  // the record's own zeros: nothing is missing
    }
    bytes.resize(segment.bytes.size() + 4096, '\0');
    const auto inbox = must(open_with(scratch / "inbox", bytes));
    CHECK(inbox->damaged() == 0);
    CHECK(numbers_of(inbox->read_after(0)) == Numbers{1, 2});
  }
}

TEST_CASE("a file of zeros only is empty") {
  const TempFolder scratch;
  const auto inbox = must(open_with(scratch / "inbox", std::string(5000, '\0')));
  CHECK(inbox->damaged() == 0);
  CHECK(inbox->last_sequence() == 0);
}

TEST_CASE("any one damaged byte in the middle costs one record and is counted") {
  const TempFolder scratch;
  const Segment segment = segment_of(5);
  for (std::size_t at = segment.starts[2]; at < segment.starts[3]; ++at) {
    CAPTURE(at);
    std::string bytes = segment.bytes;
    bytes[at] = static_cast<char>(bytes[at] ^ 0x41);
    const auto inbox = must(open_with(scratch / "inbox", bytes));
    CHECK(inbox->damaged() == 1);
    CHECK(numbers_of(inbox->read_after(0)) == Numbers{1, 2, 4, 5});
    CHECK(numbers_of(peek_inbox(scratch / "inbox", {}, 0)) == Numbers{1, 2, 4, 5});
    CHECK(must(inbox->append(tick(0))).sequence == 6);
  }
}

TEST_CASE("a damaged header costs no record and is counted") {
  const TempFolder scratch;
  for (std::size_t at = 0; at < kSegmentHeaderBytes; ++at) {
    std::string bytes = segment_of(2).bytes;
    bytes[at] = static_cast<char>(bytes[at] ^ 1);
    const auto inbox = must(open_with(scratch / "inbox", bytes));
    CHECK(inbox->damaged() == 1);
    CHECK(numbers_of(inbox->read_after(0)) == Numbers{1, 2});
  }
}

TEST_CASE("damage in the first record of a high-numbered segment does not hide the second") {
  const TempFolder scratch;
  const std::uint64_t first = (std::uint64_t{1} << 40) + 7;
  std::string bytes = segment_header();
  for (const std::uint64_t sequence : {first, first + 1}) {
    EncodedRecord record(tick(1));
    record.set_sequence(sequence);
    bytes += record.bytes();
  }
  bytes[kSegmentHeaderBytes + 10] ^= 1;
  const auto inbox = must(open_with(scratch / "inbox", bytes, first));
  CHECK(inbox->damaged() == 1);
  CHECK(numbers_of(inbox->read_after(0)) == Numbers{first + 1});
}

TEST_CASE("damage that nothing readable follows is refused with what to do, and left alone") {
  const TempFolder scratch;
  const Segment segment = segment_of(3);
  std::string bytes = segment.bytes.substr(0, segment.starts[2]) + std::string(300, '\x55');
  const auto file = (scratch / "inbox") / segment_name(1);
  const auto inbox = open_with(scratch / "inbox", bytes);
  REQUIRE_FALSE(inbox);
  CHECK(inbox.error().kind == ErrorKind::corrupt);
  CHECK(inbox.error().text == file.string() + " is damaged from byte " +
                                  std::to_string(segment.starts[2]) +
                                  " to its end, after 2 sound records; check the disk, then move "
                                  "the file away to start without what it held");
  CHECK(file_bytes(file) == bytes);
  CHECK(numbers_of(peek_inbox(scratch / "inbox", {}, 0)) == Numbers{1, 2});
}

TEST_CASE("the same damage before a later readable file is passed over and counted") {
  const TempFolder scratch;
  const Segment segment = segment_of(3);
  const std::string bytes = segment.bytes.substr(0, segment.starts[2]) + std::string(300, '\x55');
  const auto folder = scratch / "inbox";
  std::filesystem::create_directories(folder);
  write_bytes(folder / segment_name(1), bytes);
  EncodedRecord later(tick(9));
  later.set_sequence(9);
  write_bytes(folder / segment_name(9), segment_header() + later.bytes());
  const auto inbox = open_inbox(folder);
  CHECK(inbox->damaged() == 1);
  CHECK(numbers_of(inbox->read_after(0)) == Numbers{1, 2, 9});
  inbox->drop_through(2);
  CHECK(files_in(folder).size() == 1);
}

TEST_CASE("a file of a newer format is refused and left alone") {
  const TempFolder scratch;
  std::string bytes = segment_of(2).bytes;
  bytes[8] = 2;
  const std::uint32_t crc = crc32_of(bytes.substr(0, 12));
  for (int i = 0; i < 4; ++i) {
    bytes[static_cast<std::size_t>(12 + i)] = static_cast<char>(crc >> (8 * i));
  }
  const auto file = (scratch / "inbox") / segment_name(1);
  const auto inbox = open_with(scratch / "inbox", bytes);
  REQUIRE_FALSE(inbox);
  CHECK(inbox.error().kind == ErrorKind::newer_version);
  CHECK(inbox.error().text ==
        file.string() +
            " was written by a newer torpord: its format is 2, this program reads up to 1; install "
            "the newer version again");
  CHECK(file_bytes(file) == bytes);
  CHECK(peek_inbox(scratch / "inbox", {}, 0).empty());
}

TEST_CASE("records after a torn end that could not be cut are still found") {
  const TempFolder scratch;
  const auto folder = scratch / "inbox";
  std::filesystem::create_directories(folder);
  const Segment segment = segment_of(2);
  write_bytes(folder / segment_name(1), segment.bytes.substr(0, segment.bytes.size() - 1));
  EncodedRecord second(tick(2));
  second.set_sequence(2);
  write_bytes(folder / segment_name(2), segment_header() + second.bytes());
  const auto inbox = open_inbox(folder);
  CHECK(numbers_of(inbox->read_after(0)) == Numbers{1, 2});
}

}  // namespace
}  // namespace torpor::daemon
