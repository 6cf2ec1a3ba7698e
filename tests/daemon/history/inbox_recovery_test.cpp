// What an inbox makes of files that end early or were damaged.
#include <doctest/doctest.h>

#include <bit>

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
                                                      std::uint64_t first = 1,
                                                      bool power_cut = false) {
  std::filesystem::remove_all(folder);
  std::filesystem::create_directories(folder);
  write_bytes(folder / segment_name(first), bytes);
  InboxOptions options;
  options.folder = folder;
  options.power_cut = power_cut;
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

// The power went before the record was on the disk. With `power-cut` nobody was promised it; else
// somebody may have been, and is told.
TEST_CASE("a last record of which only zeros reached the disk is cut off, and told if promised") {
  const TempFolder scratch;
  const Segment segment = segment_of(3);
  for (std::size_t zeros = segment.starts[2]; zeros < segment.bytes.size(); ++zeros) {
    CAPTURE(zeros);
    std::string bytes = segment.bytes.substr(0, zeros);
    if (bytes.size() > segment.starts[2] &&
        segment.bytes.find_first_not_of('\0', zeros) == std::string::npos) {
      continue;  // the record's own zeros: nothing is missing
    }
    int missing_bits = 0;
    for (const char c : segment.bytes.substr(zeros)) {
      missing_bits += std::popcount(static_cast<unsigned char>(c));
    }
    if (missing_bits == 1) continue;  // as one flipped bit it is put right
    bytes.resize(segment.bytes.size() + 4096, '\0');
    for (const bool power_cut : {true, false}) {
      const auto inbox = must(open_with(scratch / "inbox", bytes, 1, power_cut));
      CHECK(inbox->loss().at_the_end == !power_cut);
      CHECK(numbers_of(inbox->read_after(0)) == Numbers{1, 2});
    }
  }
}

TEST_CASE("a file of zeros only is empty, and told if something in it was promised") {
  const TempFolder scratch;
  for (const bool power_cut : {true, false}) {
    const auto inbox = must(open_with(scratch / "inbox", std::string(5000, '\0'), 1, power_cut));
    CHECK(inbox->loss().at_the_end == !power_cut);
    CHECK(inbox->last_sequence() == 0);
  }
}

TEST_CASE("one flipped bit anywhere in a record is put right, and counted") {
  const TempFolder scratch;
  const Segment segment = segment_of(4);
  const auto whole = must(open_with(scratch / "inbox", segment.bytes))->read_after(0);
  for (const int record : {1, 3}) {  // in the middle and at the end
    const std::size_t begin = segment.starts[static_cast<std::size_t>(record)] * 8;
    const std::size_t end = segment.starts[static_cast<std::size_t>(record) + 1] * 8;
    for (std::size_t bit = begin; bit < end; bit += 7) {
      CAPTURE(bit);
      std::string bytes = segment.bytes;
      bytes[bit / 8] = static_cast<char>(bytes[bit / 8] ^ (1 << (bit % 8)));
      const auto inbox = must(open_with(scratch / "inbox", bytes));
      CHECK(inbox->read_after(0) == whole);
      CHECK(inbox->loss().places == 1);
      CHECK(inbox->loss().missing == 0);
      CHECK(peek_inbox(scratch / "inbox", {}, 0) == whole);
    }
  }
}

TEST_CASE("a whole last record that is damaged is no torn one: it is told") {
  const TempFolder scratch;
  const Segment segment = segment_of(3);
  // Its length tells where it ends; all else of it may be wrong.
  for (std::size_t at = segment.starts[2] + 4; at + 1 < segment.bytes.size(); ++at) {
    CAPTURE(at);
    std::string bytes = segment.bytes;
    bytes[at] = static_cast<char>(bytes[at] ^ 0x41);
    bytes[at + 1] = static_cast<char>(bytes[at + 1] ^ 0x14);
    const auto inbox = must(open_with(scratch / "inbox", bytes));
    CHECK(numbers_of(inbox->read_after(0)) == Numbers{1, 2});
    CHECK(inbox->loss().at_the_end);
    REQUIRE(inbox->loss().kept.size() == 1);
    CHECK(file_bytes(inbox->loss().kept.front()) == bytes);
  }
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
    // Where it is the length that is wrong, the CRC fits what stands before the next one.
    const bool only_length = at < segment.starts[2] + 4;
    const Numbers left = only_length ? Numbers{1, 2, 3, 4, 5} : Numbers{1, 2, 4, 5};
    CHECK(numbers_of(inbox->read_after(0)) == left);
    CHECK(numbers_of(peek_inbox(scratch / "inbox", {}, 0)) == left);
    CHECK(inbox->loss().missing == (only_length ? 0 : 1));
    if (!only_length) {
      CHECK(inbox->loss().after == moment_of(one_of_each()[2]));
      CHECK(inbox->loss().before == moment_of(one_of_each()[0]));
    }
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
  bytes[kSegmentHeaderBytes + 10] ^= 3;
  const auto inbox = must(open_with(scratch / "inbox", bytes, first));
  CHECK(inbox->damaged() == 1);
  CHECK(numbers_of(inbox->read_after(0)) == Numbers{first + 1});
}

TEST_CASE("damage that nothing readable follows is passed over and told, and its file is kept") {
  const TempFolder scratch;
  const Segment segment = segment_of(3);
  const std::string bytes = segment.bytes.substr(0, segment.starts[2]) + std::string(300, '\x55');
  const auto file = (scratch / "inbox") / segment_name(1);
  const auto inbox = must(open_with(scratch / "inbox", bytes));
  CHECK(inbox->loss().places == 1);
  CHECK(inbox->loss().at_the_end);
  CHECK(inbox->loss().after == moment_of(one_of_each()[2]));
  CHECK(numbers_of(inbox->read_after(0)) == Numbers{1, 2});
  REQUIRE(inbox->loss().kept.size() == 1);
  CHECK(inbox->loss().kept.front() == file.string() + ".damaged");
  CHECK(file_bytes(inbox->loss().kept.front()) == bytes);
  CHECK(must(inbox->append(tick(3))).sequence == 3);
  CHECK(numbers_of(peek_inbox(scratch / "inbox", {}, 0)) == Numbers{1, 2, 3});
}

TEST_CASE("a file of garbage is passed over and told, and kept") {
  const TempFolder scratch;
  const std::string bytes(300, '\x55');
  const auto inbox = must(open_with(scratch / "inbox", bytes, 7));
  CHECK(inbox->loss().at_the_end);
  REQUIRE(inbox->loss().kept.size() == 1);
  CHECK(file_bytes(inbox->loss().kept.front()) == bytes);
  CHECK(must(inbox->append(tick(1))).kept == Kept::disk);
}

TEST_CASE("numbers that stand nowhere are told, but for those that were left out on purpose") {
  const TempFolder scratch;
  const auto folder = scratch / "inbox";
  std::filesystem::create_directories(folder);
  for (const std::uint64_t sequence : {std::uint64_t{5}, std::uint64_t{9}, 10 + kNumbersLeftOut}) {
    EncodedRecord record(tick(static_cast<int>(sequence % 100)));
    record.set_sequence(sequence);
    write_bytes(folder / segment_name(sequence), segment_header() + record.bytes());
  }
  InboxOptions options;
  options.folder = folder;
  CHECK(must(Inbox::open(options, 4))->loss().missing == 3);  // 6, 7, 8
  CHECK(must(Inbox::open(options, 8))->loss().missing == 0);
  CHECK(must(Inbox::open(options, 2))->loss().missing == 5);
}

TEST_CASE("what another inbox holds is moved in behind what is here, in order") {
  const TempFolder scratch;
  {
    const auto other = open_inbox(scratch / "other");
    for (int i = 1; i <= 3; ++i) must(other->append(tick(i)));
  }
  const auto inbox = open_inbox(scratch / "inbox", 100);
  CHECK(must(move_in(scratch / "other", 1, *inbox)) == 2);
  const auto records = inbox->read_after(100);
  REQUIRE(numbers_of(records) == Numbers{101, 102});
  CHECK(records[0].payload == InboxPayload(tick(2)));
  CHECK(files_in(scratch / "other").empty());
  CHECK(must(move_in(scratch / "other", 0, *inbox)) == 0);
  CHECK(must(move_in(scratch / "nowhere", 0, *inbox)) == 0);
}

TEST_CASE("a folder that cannot be made is no reason not to start while there is a spool") {
  const TempFolder scratch;
  write_bytes(scratch / "file", "in the way");
  InboxOptions options;
  options.folder = (scratch / "file") / "inbox";
  CHECK_FALSE(Inbox::open(options, 0));
  options.spool = scratch / "spool";
  const auto inbox = must(Inbox::open(options, 0));
  CHECK(must(inbox->append(tick(1))).kept == Kept::spool);
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
  CHECK(files_in(folder).size() == 2);  // with the copy of the damaged one
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
