#include "daemon/history/inbox.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <mutex>
#include <system_error>
#include <utility>

#include "daemon/history/disk_error.h"
#include "daemon/history/inbox_segment.h"
#include "daemon/history/segment_file.h"

namespace torpor::daemon {
namespace {

using Clock = std::chrono::steady_clock;

// A file whose records are all folded is left for a new one only beyond this size: a smaller one
// costs a restart nothing, and making and removing a file writes about as much to the disk.
constexpr std::uint64_t kWorthDropping = 64u << 10;
// The spool is given up in parts, so that folding some of it frees room.
constexpr std::uint64_t kSpoolParts = 8;

struct Segment {
  SegmentPlace place;
  std::uint64_t last = 0;  // its last record's number; place.first - 1: it has none
  std::size_t bytes = 0;   // where its last record ends
};

tl::expected<void, Error> make_folder(const std::filesystem::path& folder, bool durable) {
  std::error_code error;
  const bool made = std::filesystem::create_directories(folder, error);
  if (error) return tl::unexpected(disk_error(error.value(), "make the folder", folder));
  if (made && durable) return sync_folder(folder.parent_path());
  return {};
}

Error newer_inbox(const SegmentPlace& place, std::uint32_t format) {
  return {ErrorKind::newer_version,
          fmt::format("{} was written by a newer torpord: its format is {}, this program reads up "
                      "to {}; install the newer version again",
                      place.path.string(), format, kInboxFormat)};
}

struct Opened {
  std::vector<Segment> segments;
  std::uint64_t last_sequence = 0;
  InboxLoss loss;
};

struct ScannedSegment {
  SegmentPlace place;
  SegmentScan scan;
};

// What numbers are missing, and when.
class Gaps {
 public:
  explicit Gaps(std::uint64_t after) : newest_(after) {}

  void see(const InboxRecord& record) {
    const Instant at = moment_of(record.payload);
    if (record.sequence <= newest_) {
      seen_ = at;
      return;
    }
    const std::uint64_t left_out = record.sequence - newest_ - 1;
    if (left_out > 0 && left_out < kNumbersLeftOut) {
      missing_ += left_out;
      damage();
    }
    if (open_) before_ = at;
    open_ = false;
    newest_ = record.sequence;
    seen_ = at;
  }
  // Here is a damaged place.
  void damage() {
    if (!damaged_) after_ = seen_;
    damaged_ = open_ = true;
  }
  void write_into(InboxLoss& loss) const {
    loss.missing = missing_;
    loss.after = after_;
    if (!open_) loss.before = before_;
  }

 private:
  std::uint64_t newest_;
  std::uint64_t missing_ = 0;
  std::optional<Instant> seen_, after_, before_;
  bool damaged_ = false;
  bool open_ = false;  // damaged, and nothing read since
};

tl::expected<std::vector<ScannedSegment>, Error> scan_all(const InboxOptions& options, Gaps& gaps) {
  const auto places = list_segments(options.folder, options.spool);
  if (!places) return tl::unexpected(places.error());
  std::vector<ScannedSegment> scanned;
  for (const SegmentPlace& place : *places) {
    const auto bytes = read_bytes(place.path);
    if (bytes && !*bytes) continue;
    SegmentScan scan;
    scan.last_sequence = place.first - 1;
    scan.end = SegmentEnd::damaged;
    if (bytes) {
      scan = scan_segment(**bytes, ScanFrom::header, place.first - 1,
                          [&gaps](InboxRecord&& record) { gaps.see(record); });
    }
    if (scan.newer_format) return tl::unexpected(newer_inbox(place, *scan.newer_format));
    const bool never_acknowledged = scan.end == SegmentEnd::zeros && options.power_cut;
    // In the middle the numbers tell what is missing; at an end nothing does.
    if (scan.end == SegmentEnd::damaged || (scan.end == SegmentEnd::zeros && !never_acknowledged)) {
      gaps.damage();
    }
    if (never_acknowledged) scan.end = SegmentEnd::torn;
    scanned.push_back({place, scan});
  }
  return scanned;
}

// Under its own name with `.damaged` behind it: what is read past here may be of use to a person.
void keep_a_copy(const std::filesystem::path& file, InboxLoss& loss) {
  const std::filesystem::path copy = file.string() + ".damaged";
  std::error_code error;
  std::filesystem::copy_file(file, copy, std::filesystem::copy_options::skip_existing, error);
  if (!error || std::filesystem::exists(copy, error)) loss.kept.push_back(copy);
}

// Looks at every segment, cuts torn ends off, and removes files that hold no record.
tl::expected<Opened, Error> recover(const InboxOptions& options, std::uint64_t after) {
  Gaps gaps(after);
  const auto scanned = scan_all(options, gaps);
  if (!scanned) return tl::unexpected(scanned.error());
  Opened opened;
  for (auto it = scanned->begin(); it != scanned->end(); ++it) {
    const auto& [place, scan] = *it;
    const bool read_later = std::any_of(
        it + 1, scanned->end(), [](const ScannedSegment& later) { return later.scan.records > 0; });
    opened.loss.places += scan.damaged;
    // Torn ends are cut when the inbox is opened: with records after it, one is a loss.
    const bool bad_end = scan.end == SegmentEnd::damaged || scan.end == SegmentEnd::zeros ||
                         (scan.end == SegmentEnd::torn && read_later);
    if (bad_end) ++opened.loss.places;
    if (bad_end && !read_later) opened.loss.at_the_end = true;
    if (bad_end || scan.damaged > 0) keep_a_copy(place.path, opened.loss);

    // Failing to cut or remove does no harm: a reader stops there, new records go to a new file.
    std::error_code ignored;
    if (scan.records == 0) {
      std::filesystem::remove(place.path, ignored);
      continue;
    }
    if (scan.end == SegmentEnd::torn || scan.end == SegmentEnd::zeros) {
      std::filesystem::resize_file(place.path, scan.good_bytes, ignored);
    }
    opened.segments.push_back({place, scan.last_sequence, scan.good_bytes});
    opened.last_sequence = std::max(opened.last_sequence, scan.last_sequence);
  }
  gaps.write_into(opened.loss);
  return opened;
}

class FileInbox final : public Inbox {
 public:
  FileInbox(InboxOptions options, Opened opened, std::uint64_t after)
      : options_(std::move(options)),
        segments_(std::move(opened.segments)),
        last_sequence_(std::max(after, opened.last_sequence) + options_.numbers_left_out),
        damaged_(opened.loss.places),
        loss_(std::move(opened.loss)) {}

  tl::expected<Appended, Error> append(const InboxPayload& payload) override;
  std::vector<InboxRecord> read_after(std::uint64_t sequence) const override;
  void drop_through(std::uint64_t sequence) override;
  std::uint64_t last_sequence() const override {
    const std::lock_guard lock(mutex_);
    return last_sequence_;
  }
  std::uint64_t damaged() const override {
    const std::lock_guard lock(mutex_);
    return damaged_;
  }
  InboxLoss loss() const override { return loss_; }
  std::optional<Error> disk_fault() const override {
    const std::lock_guard lock(mutex_);
    return disk_fault_;
  }

 private:
  // The file that takes records now, of the disk or of the spool; null between files.
  struct Writer {
    std::unique_ptr<SegmentFile> file;
    bool in_spool = false;
    bool ghost = false;  // the last failed append could not be taken back
  };
  // Where read_after() stopped: the next call usually goes on from there.
  struct ReadMark {
    std::filesystem::path path;
    std::uint64_t sequence = 0;
    std::size_t offset = 0;
  };

  // With mutex_ held:
  tl::expected<void, Error> append_to(Writer& writer, const std::string& record);
  tl::expected<void, Error> begin_segment(Writer& writer);
  tl::expected<void, Error> append_to_disk(const std::string& record);
  tl::expected<void, Error> append_to_spool(const std::string& record);
  void give_up_segment(Writer& writer);
  Error spool_full(std::size_t record_bytes) const;
  std::uint64_t spool_used() const;
  std::uint64_t segment_limit(bool in_spool) const;
  bool being_written(const Segment& segment) const;
  std::vector<Segment> folded_segments(std::uint64_t sequence);

  // Constant after construction.
  const InboxOptions options_;

  // Guarded by mutex_.
  mutable std::mutex mutex_;
  std::vector<Segment> segments_;  // by number; the last one may be being written
  std::uint64_t last_sequence_ = 0;
  mutable std::uint64_t damaged_ = 0;
  const InboxLoss loss_;
  Writer disk_;
  Writer spool_{nullptr, true, false};
  std::optional<Error> disk_fault_;
  Clock::time_point next_disk_try_;

  // Strand only.
  mutable ReadMark read_mark_;
};

tl::expected<Inbox::Appended, Error> FileInbox::append(const InboxPayload& payload) {
  if (const auto* model = std::get_if<JarModelRecord>(&payload);
      model != nullptr && model->bytes.size() > kLargestJarModel) {
    return tl::unexpected(
        Error{ErrorKind::invalid, fmt::format("the model of jar {} takes {} bytes, the inbox takes "
                                              "models of up to {}",
                                              model->jar, model->bytes.size(), kLargestJarModel)});
  }
  EncodedRecord record(payload);
  if (record.too_large()) {
    return tl::unexpected(Error{
        ErrorKind::invalid, fmt::format("a message of {} bytes is too large for the inbox, which "
                                        "takes up to {}; send it in parts",
                                        record.bytes().size(), kLargestRecordBody)});
  }
  const std::lock_guard lock(mutex_);
  const std::uint64_t sequence = last_sequence_ + 1;
  record.set_sequence(sequence);

  Kept kept = Kept::disk;
  if (!append_to_disk(record.bytes())) {
    const bool ghost = std::exchange(disk_.ghost, false);
    if (auto spooled = append_to_spool(record.bytes()); !spooled) {
      // A record that was promised to nobody may stand under this number: never use it again.
      if (ghost || std::exchange(spool_.ghost, false)) ++last_sequence_;
      return tl::unexpected(spooled.error());
    }
    const bool nearly_full = spool_used() >= options_.spool_limit / 8 * 7;
    kept = nearly_full ? Kept::spool_nearly_full : Kept::spool;
  }
  last_sequence_ = sequence;
  segments_.back().last = sequence;
  return Appended{sequence, kept};
}

tl::expected<void, Error> FileInbox::append_to_disk(const std::string& record) {
  if (disk_fault_ && Clock::now() < next_disk_try_) return tl::unexpected(*disk_fault_);
  auto done = append_to(disk_, record);
  if (!done) {
    disk_fault_ = done.error();
    next_disk_try_ = Clock::now() + options_.disk_retry;
    return done;
  }
  disk_fault_.reset();
  spool_.file.reset();
  return done;
}

tl::expected<void, Error> FileInbox::append_to_spool(const std::string& record) {
  if (options_.spool.empty()) return tl::unexpected(*disk_fault_);
  if (spool_used() + kSegmentHeaderBytes + record.size() > options_.spool_limit) {
    return tl::unexpected(spool_full(record.size()));
  }
  return append_to(spool_, record).map_error([this](const Error& spool) {
    return Error{spool.kind, disk_fault_->text + "; and the spool fails too: " + spool.text};
  });
}

tl::expected<void, Error> FileInbox::append_to(Writer& writer, const std::string& record) {
  if (writer.file && writer.file->bytes() >= segment_limit(writer.in_spool)) writer.file.reset();
  if (!writer.file) {
    if (auto begun = begin_segment(writer); !begun) return begun;
  }
  auto done = writer.file->append(record);
  if (!done) {
    give_up_segment(writer);
    return done;
  }
  segments_.back().bytes = static_cast<std::size_t>(writer.file->bytes());
  return done;
}

tl::expected<void, Error> FileInbox::begin_segment(Writer& writer) {
  const auto& folder = writer.in_spool ? options_.spool : options_.folder;
  const bool durable = options_.power_cut && !writer.in_spool;
  if (auto made = make_folder(folder, durable); !made) return made;
  const std::uint64_t first = last_sequence_ + 1;
  const SegmentPlace place{folder / segment_name(first), first, writer.in_spool};
  auto file = SegmentFile::create(place.path, durable);
  if (!file) return tl::unexpected(file.error());
  writer.file = std::move(*file);
  segments_.push_back({place, first - 1, 0});
  return {};
}

// After a failure the other folder may take over, and then this file must never grow again: its
// numbers would no longer be in one piece.
void FileInbox::give_up_segment(Writer& writer) {
  writer.ghost = writer.file->holds_ghost();
  const bool empty = writer.file->bytes() == 0;
  const std::filesystem::path path = writer.file->path();
  writer.file.reset();
  if (!empty) return;
  segments_.pop_back();
  std::error_code ignored;  // an empty file left behind is removed when the inbox is opened
  std::filesystem::remove(path, ignored);
}

Error FileInbox::spool_full(std::size_t record_bytes) const {
  return {ErrorKind::disk_full,
          fmt::format("{}; and the spool {} has no room for {} more bytes ({} of {} used)",
                      disk_fault_->text, options_.spool.string(), record_bytes, spool_used(),
                      options_.spool_limit)};
}

std::uint64_t FileInbox::spool_used() const {
  std::uint64_t used = 0;
  for (const Segment& segment : segments_) used += segment.place.in_spool ? segment.bytes : 0;
  return used;
}

std::uint64_t FileInbox::segment_limit(bool in_spool) const {
  if (!in_spool) return options_.segment_bytes;
  return std::min(options_.segment_bytes, options_.spool_limit / kSpoolParts);
}

bool FileInbox::being_written(const Segment& segment) const {
  const auto& writer = segment.place.in_spool ? spool_ : disk_;
  return writer.file && writer.file->path() == segment.place.path;
}

std::vector<InboxRecord> FileInbox::read_after(std::uint64_t sequence) const {
  std::vector<Segment> segments;
  {
    const std::lock_guard lock(mutex_);
    segments = segments_;
  }
  std::vector<InboxRecord> records;
  for (const Segment& segment : segments) {
    if (segment.last <= sequence) continue;
    const bool go_on = read_mark_.path == segment.place.path && read_mark_.sequence <= sequence;
    const std::size_t offset = go_on ? read_mark_.offset : 0;
    const std::uint64_t above = go_on ? read_mark_.sequence : segment.place.first - 1;

    const auto bytes = read_bytes(segment.place.path, offset, segment.bytes);
    if (!bytes || !*bytes) {
      // Watching goes on without what this file held.
      const std::lock_guard lock(mutex_);
      ++damaged_;
      continue;
    }
    const ScanFrom from = go_on ? ScanFrom::record : ScanFrom::header;
    scan_segment(**bytes, from, above, [&](InboxRecord&& record) {
      const std::uint64_t newest = records.empty() ? sequence : records.back().sequence;
      if (record.sequence > newest) records.push_back(std::move(record));
    });
    read_mark_ = {segment.place.path, segment.last, segment.bytes};
  }
  return records;
}

std::vector<Segment> FileInbox::folded_segments(std::uint64_t sequence) {
  const std::lock_guard lock(mutex_);
  std::vector<Segment> folded;
  for (const Segment& segment : segments_) {
    if (segment.last > sequence) break;
    if (being_written(segment)) {
      const std::uint64_t worth =
          std::min(kWorthDropping, segment_limit(segment.place.in_spool) / 2);
      if (segment.bytes < worth) break;
      (segment.place.in_spool ? spool_ : disk_).file.reset();
    }
    folded.push_back(segment);
  }
  return folded;
}

void FileInbox::drop_through(std::uint64_t sequence) {
  // Removing a file can wait for the disk: not under the lock that append() takes.
  std::vector<SegmentPlace> removed;
  for (const Segment& segment : folded_segments(sequence)) {
    std::error_code error;
    std::filesystem::remove(segment.place.path, error);
    // One that cannot be removed is kept in the list and tried again with the next fold.
    if (!error) removed.push_back(segment.place);
  }
  const std::lock_guard lock(mutex_);
  std::erase_if(segments_, [&](const Segment& segment) {
    return std::ranges::find(removed, segment.place) != removed.end();
  });
}

// Both folders at one moment: the names are listed until two listings agree, since a file that
// appears in one folder between the two listings would leave a hole before those in the other.
std::vector<SegmentPlace> settled_listing(const std::filesystem::path& folder,
                                          const std::filesystem::path& spool) {
  // A new file appears at most every few milliseconds, even at full speed.
  constexpr int kListings = 20;
  std::vector<SegmentPlace> listed;
  for (int i = 0; i < kListings; ++i) {
    auto again = list_segments(folder, spool);
    if (!again) return listed;
    if (i > 0 && *again == listed) break;
    listed = std::move(*again);
  }
  return listed;
}

}  // namespace

tl::expected<std::unique_ptr<Inbox>, Error> Inbox::open(InboxOptions options, std::uint64_t after) {
  // With a spool it need not be there: each append tries to make it.
  if (auto made = make_folder(options.folder, options.power_cut); !made && options.spool.empty()) {
    return tl::unexpected(made.error());
  }
  auto opened = recover(options, after);
  if (!opened) return tl::unexpected(opened.error());
  return std::make_unique<FileInbox>(std::move(options), std::move(*opened), after);
}

Instant moment_of(const InboxPayload& payload) {
  return std::visit(
      [](const auto& record) {
        if constexpr (requires { record.received_at; }) {
          return record.received_at;
        } else {
          return record.at;
        }
      },
      payload);
}

tl::expected<std::size_t, Error> move_in(const std::filesystem::path& folder,
                                         std::uint64_t sequence, Inbox& inbox) {
  std::size_t moved = 0;
  for (const InboxRecord& record : peek_inbox(folder, {}, sequence)) {
    if (const auto kept = inbox.append(record.payload); !kept) {
      return tl::unexpected(kept.error());
    }
    ++moved;
  }
  const auto places = list_segments(folder, {});
  if (!places) return tl::unexpected(places.error());
  for (const SegmentPlace& place : *places) {
    std::error_code error;
    std::filesystem::remove(place.path, error);
    if (error) return tl::unexpected(disk_error(error.value(), "remove", place.path));
  }
  return moved;
}

std::vector<InboxRecord> peek_inbox(const std::filesystem::path& folder,
                                    const std::filesystem::path& spool, std::uint64_t sequence) {
  const std::vector<SegmentPlace> places = settled_listing(folder, spool);
  // Newest file first: what an older one holds was complete before a newer one was begun, so the
  // records found are a beginning of the inbox without holes. A file that has gone meanwhile was
  // folded: its records are in the history that the caller opens next.
  std::vector<std::vector<InboxRecord>> newest_first;
  for (auto place = places.rbegin(); place != places.rend(); ++place) {
    const bool all_older = place != places.rbegin() && std::prev(place)->first <= sequence + 1;
    if (all_older) break;
    auto bytes = read_bytes(place->path);
    if (!bytes || !*bytes) continue;
    std::vector<InboxRecord>& found = newest_first.emplace_back();
    scan_segment(**bytes, ScanFrom::header, place->first - 1,
                 [&](InboxRecord&& record) { found.push_back(std::move(record)); });
  }
  std::vector<InboxRecord> records;
  for (auto found = newest_first.rbegin(); found != newest_first.rend(); ++found) {
    for (InboxRecord& record : *found) {
      const std::uint64_t newest = records.empty() ? sequence : records.back().sequence;
      if (record.sequence > newest) records.push_back(std::move(record));
    }
  }
  return records;
}

}  // namespace torpor::daemon
