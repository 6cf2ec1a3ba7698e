// How `import readings` and `import jars` reach the history. Whoever gets the writer's lock writes
// by itself through the same Storeroom the service runs; otherwise batches go over a Unix socket
// beside the history to the service that holds the lock. Either way a batch is committed when put()
// returns.
//
// On the socket: frames of a u32 length (little-endian) and that many bytes. A request is a byte,
// the kind of a record, and that readings or tell record as in the inbox (history/FORMAT.md); or a
// zero byte and such requests to tell, each behind its u32 length. A reply is a zero byte and three
// u64 (fresh, known, conflicting) or the answers to the sentences, each behind its u32 length; or a
// one byte and what is wrong.
#pragma once

#include <cstdint>
#include <memory>
#include <vector>

#include <tl/expected.hpp>

#include "daemon/error.h"
#include "daemon/service/load_settings.h"
#include "daemon/service/storeroom.h"

namespace torpor::daemon {

struct ImportTotals {
  std::uint64_t fresh = 0;        // new rows
  std::uint64_t known = 0;        // already there
  std::uint64_t conflicting = 0;  // there with another value: the first stays
};

// Readings of one batch. A batch is one record of the inbox and one commit.
inline constexpr std::size_t kLargestImportBatch = 500;
// Sentences of one batch, which is one commit: with each the state of all jars is written down.
// Fewer than the answers that are kept.
inline constexpr std::size_t kLargestTellBatch = 500;
static_assert(kLargestTellBatch < kAnswersKept);

class ImportChannel {
 public:
  // `wall` is now. Error not_reached: the lock is taken and nobody answers on the socket.
  [[nodiscard]] static tl::expected<std::unique_ptr<ImportChannel>, Error> open(
      const Loaded& loaded, Instant wall);
  virtual ~ImportChannel() = default;

  // At most kLargestImportBatch readings; committed when it returns. `wall` is now.
  [[nodiscard]] virtual tl::expected<ImportTotals, Error> put(std::vector<Reading> batch,
                                                              Instant wall) = 0;
  // At most kLargestTellBatch sentences; their answers, once each is committed or refused. They
  // need correlation data.
  [[nodiscard]] virtual tl::expected<std::vector<std::string>, Error> tell(
      std::vector<TellRecord> batch) = 0;
  [[nodiscard]] virtual bool service_running() const = 0;
};

// The service's and the importer's common way in: one record appended, applied and committed.
[[nodiscard]] tl::expected<ImportTotals, Error> import_into(Storeroom& room, ReadingsRecord record);

[[nodiscard]] tl::expected<std::vector<std::string>, Error> tell_into(
    Storeroom& room, std::vector<TellRecord> batch);

// Frames, shared by both ends. A request is a ReadingsRecord or a TellRecord, or many of those.
[[nodiscard]] std::string encode_import(const InboxPayload& record);
[[nodiscard]] std::string encode_tells(std::vector<TellRecord> batch);
// The service's end: what comes is dated `wall`, its own now; readings more than 5 min after that
// or before 2000 are refused, all of the batch.
[[nodiscard]] tl::expected<InboxPayload, Error> decode_import(std::string_view frame, Instant wall);
// What a frame asks for: a ReadingsRecord alone, or TellRecords.
[[nodiscard]] tl::expected<std::vector<InboxPayload>, Error> decode_request(std::string_view frame,
                                                                            Instant wall);
[[nodiscard]] std::string encode_tell_reply(
    const tl::expected<std::vector<std::string>, Error>& reply);
[[nodiscard]] tl::expected<std::vector<std::string>, Error> decode_tell_reply(
    std::string_view frame);
[[nodiscard]] std::string encode_import_reply(const tl::expected<ImportTotals, Error>& reply);
[[nodiscard]] tl::expected<ImportTotals, Error> decode_import_reply(std::string_view frame);
// Does what decode_request() found; the reply, encoded.
[[nodiscard]] std::string import_reply(Storeroom& room, std::vector<InboxPayload> records);
// Longest frame either end accepts: a full batch is about 30 kB.
inline constexpr std::size_t kLongestImportFrame = 1u << 20;

}  // namespace torpor::daemon
