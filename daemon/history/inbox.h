// The inbox: the append-only file that holds every accepted input before anyone acknowledges it.
// One record is one write(2): length, CRC-32, sequence number, kind, payload (FORMAT.md). The
// strand folds records into SQLite and then drops the files they stood in. Appending is safe from
// any thread; everything else belongs to the strand.
//
// When the history's disk cannot be written, records go to a bounded spool folder in memory-backed
// storage; when that is nearly full, append() says so and the link stops taking messages.
#pragma once

#include <chrono>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/error.h"
#include "sensors/reading.h"

namespace torpor::daemon {

// The decoded readings of one message (or of one batch of an import).
struct ReadingsRecord {
  Instant received_at;
  std::vector<Reading> readings;
  std::uint64_t digest = 0;  // of topic and payload: tells a redelivery of an arrival-stamped one
  bool redelivered = false;  // the broker's DUP flag
  friend bool operator==(const ReadingsRecord&, const ReadingsRecord&) = default;
};
struct TellRecord {
  Instant received_at;
  std::string sentence;
  std::string by;              // the client's user property, or empty
  std::string response_topic;  // empty: `answer`
  std::string correlation;     // raw bytes; empty: none
  bool redelivered = false;
  friend bool operator==(const TellRecord&, const TellRecord&) = default;
};
struct LinkRecord {
  Instant at;
  bool connected = false;
  friend bool operator==(const LinkRecord&, const LinkRecord&) = default;
};
// What was found of the board itself: see daemon/service/board.h.
struct DiskRecord {
  Instant at;
  double free_percent = 0.0;  // of the disk that holds the history
  friend bool operator==(const DiskRecord&, const DiskRecord&) = default;
};
struct ClockStepRecord {
  Instant at;  // by the clock as it was set
  Duration by{};
  friend bool operator==(const ClockStepRecord&, const ClockStepRecord&) = default;
};
// The clock was wrong: what was stamped at `from` or later, as it went then, belongs `by` later.
// See daemon/clock/room_clock.h.
struct ClockMoveRecord {
  Instant at;  // by the clock as it goes from now on
  Instant from;
  Duration by{};
  friend bool operator==(const ClockMoveRecord&, const ClockMoveRecord&) = default;
};
struct TickRecord {
  Instant at;
  friend bool operator==(const TickRecord&, const TickRecord&) = default;
};

// A jar's model that was computed anew off the strand, taken over at its place among the inputs.
// The inbox does not look inside `bytes`.
struct JarModelRecord {
  std::string jar;
  std::uint64_t revision = 0;  // of the jar's acts that it was computed from
  Instant at;                  // up to which moment
  std::string bytes;           // at most kLargestJarModel
  friend bool operator==(const JarModelRecord&, const JarModelRecord&) = default;
};
// Several times what a model with all its layers, members and air memory takes.
inline constexpr std::size_t kLargestJarModel = 64u << 10;

using InboxPayload = std::variant<ReadingsRecord, TellRecord, LinkRecord, TickRecord,
                                  JarModelRecord, DiskRecord, ClockStepRecord, ClockMoveRecord>;
struct InboxRecord {
  std::uint64_t sequence = 0;
  InboxPayload payload;
  friend bool operator==(const InboxRecord&, const InboxRecord&) = default;
};

struct InboxOptions {
  std::filesystem::path folder;            // beside the history file; made if absent
  std::filesystem::path spool;             // memory-backed; made when first needed; empty: none
  std::uint64_t spool_limit = 8u << 20;    // bytes; "nearly full" is 7/8 of it
  bool power_cut = false;                  // fdatasync after each append
  std::uint64_t segment_bytes = 4u << 20;  // a new file is begun beyond it
  std::uint64_t numbers_left_out = 0;      // before the first that is given: kNumbersLeftOut
  // A disk that refused a record is tried again with the first record after this time: often enough
  // to leave the spool soon, seldom enough that a slow failure does not hold up every message.
  Duration disk_retry = std::chrono::seconds(1);
};

// What the files could not give when the inbox was opened.
struct InboxLoss {
  std::uint64_t places = 0;   // that are damaged
  std::uint64_t missing = 0;  // records after `after` whose numbers stand nowhere
  bool at_the_end = false;    // damage up to the end: how many stood there is not known
  // Of the records before the first and behind the last damaged or missing one.
  std::optional<Instant> after, before;
  std::vector<std::filesystem::path> kept;  // copies of the damaged files, beside them
  [[nodiscard]] bool none() const { return places == 0 && missing == 0; }
};

// A history that is away may have folded more than anyone knows. What comes meanwhile is numbered
// this far above, so that it still counts when that history is back; a gap as wide is no loss.
inline constexpr std::uint64_t kNumbersLeftOut = std::uint64_t{1} << 40;

// Where an appended record went.
enum class Kept { disk, spool, spool_nearly_full };

class Inbox {
 public:
  // Opens the folder and finds the highest sequence number on disk and spool. A torn last record is
  // cut off (it was never acknowledged); what is damaged is passed over and told by loss(). A
  // folder that cannot be made or written is no error while there is a spool. `after` is the last
  // sequence number that is already folded: numbering continues above it.
  [[nodiscard]] static tl::expected<std::unique_ptr<Inbox>, Error> open(InboxOptions options,
                                                                        std::uint64_t after);
  virtual ~Inbox() = default;

  struct Appended {
    std::uint64_t sequence = 0;
    Kept kept = Kept::disk;
  };
  // Any thread. On success the record survives kill -9 (disk and spool) and, with power_cut, a
  // power cut (disk). On error nothing was kept: do not acknowledge. Records are numbered in the
  // order in which they stand.
  [[nodiscard]] virtual tl::expected<Appended, Error> append(const InboxPayload& payload) = 0;

  // Records after `sequence`, in order. Strand.
  [[nodiscard]] virtual std::vector<InboxRecord> read_after(std::uint64_t sequence) const = 0;
  // Everything up to `sequence` is folded: files that hold nothing newer are removed. Strand.
  virtual void drop_through(std::uint64_t sequence) = 0;
  [[nodiscard]] virtual std::uint64_t last_sequence() const = 0;
  // Places in its files that could not be read and were passed over.
  [[nodiscard]] virtual std::uint64_t damaged() const = 0;
  [[nodiscard]] virtual InboxLoss loss() const { return {}; }
  // Why records go to the spool now; nullopt while the disk takes them. Any thread.
  [[nodiscard]] virtual std::optional<Error> disk_fault() const { return std::nullopt; }
};

// When a record came.
[[nodiscard]] Instant moment_of(const InboxPayload& payload);

// Appends what another inbox's folder still holds beyond `sequence` to this one, then removes its
// files: how many. Whatever ends it in between, nothing is lost; something may come twice.
[[nodiscard]] tl::expected<std::size_t, Error> move_in(const std::filesystem::path& folder,
                                                       std::uint64_t sequence, Inbox& inbox);

// For readers in other processes: every record after `sequence` that can be read, without locks and
// without changing anything. A torn end is simply the end.
[[nodiscard]] std::vector<InboxRecord> peek_inbox(const std::filesystem::path& folder,
                                                  const std::filesystem::path& spool,
                                                  std::uint64_t sequence);

}  // namespace torpor::daemon
