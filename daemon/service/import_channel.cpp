#include "daemon/service/import_channel.h"

#include <fmt/format.h>

#include <boost/asio/io_context.hpp>
#include <boost/asio/local/stream_protocol.hpp>
#include <boost/asio/read.hpp>
#include <boost/asio/write.hpp>

#include "daemon/clock/board_clock.h"
#include "daemon/history/inbox_codec.h"
#include "daemon/history/little_endian.h"
#include "sensors/payload.h"
#include "sensors/rfc3339.h"

namespace torpor::daemon {
namespace {

namespace asio = boost::asio;
using asio::local::stream_protocol;

// No kind of a record.
constexpr char kManyTells = '\0';

class OwnStoreroom final : public ImportChannel {
 public:
  explicit OwnStoreroom(std::unique_ptr<Storeroom> room)
      : room_(std::move(room)), clock_(room_->kept_clock()) {}

  // By the room's own clock, as the service would.
  tl::expected<ImportTotals, Error> put(std::vector<Reading> batch, Instant) override {
    const Instant now = clock_.now();
    for (Reading& reading : batch) reading.received_at = now;
    return import_into(*room_, ReadingsRecord{now, std::move(batch), 0, false});
  }
  tl::expected<std::vector<std::string>, Error> tell(std::vector<TellRecord> batch) override {
    const Instant now = clock_.now();
    for (TellRecord& record : batch) record.received_at = now;
    return tell_into(*room_, std::move(batch));
  }
  bool service_running() const override { return false; }

 private:
  std::unique_ptr<Storeroom> room_;
  BoardClock clock_;
};

class OverSocket final : public ImportChannel {
 public:
  explicit OverSocket(const std::filesystem::path& path) : socket_(context_) {
    socket_.connect(stream_protocol::endpoint(path.string()));
  }

  tl::expected<ImportTotals, Error> put(std::vector<Reading> batch, Instant wall) override {
    const auto reply = ask(encode_import(ReadingsRecord{wall, std::move(batch), 0, false}));
    if (!reply) return tl::unexpected(reply.error());
    return decode_import_reply(*reply);
  }
  tl::expected<std::vector<std::string>, Error> tell(std::vector<TellRecord> batch) override {
    const auto reply = ask(encode_tells(std::move(batch)));
    if (!reply) return tl::unexpected(reply.error());
    return decode_tell_reply(*reply);
  }
  bool service_running() const override { return true; }

 private:
  tl::expected<std::string, Error> ask(const std::string& frame) {
    try {
      std::string head;
      put_number(head, static_cast<std::uint32_t>(frame.size()));
      asio::write(socket_, asio::buffer(head + frame));
      std::string length(sizeof(std::uint32_t), '\0');
      asio::read(socket_, asio::buffer(length));
      const auto size = number_at<std::uint32_t>(length, 0);
      if (size > kLongestImportFrame) {
        return tl::unexpected(Error{ErrorKind::invalid, "the service's reply is not understood"});
      }
      std::string reply(size, '\0');
      asio::read(socket_, asio::buffer(reply));
      return reply;
    } catch (const boost::system::system_error& error) {
      return tl::unexpected(Error{
          ErrorKind::not_reached,
          fmt::format("the running service stopped answering ({}); what was reported as written is "
                      "written, and importing the file again changes nothing of it",
                      error.code().message())});
    }
  }

  asio::io_context context_;
  stream_protocol::socket socket_;
};

// Design: measured before 2000-01-01 is refused; a clock that was never set says 1970.
constexpr Instant kEarliestMeasured = std::chrono::sys_days(std::chrono::year(2000) / 1 / 1);

// A date where it is one.
std::string date_words(Instant at) {
  constexpr Instant kYear10000 = std::chrono::sys_days(std::chrono::year(10000) / 1 / 1);
  constexpr Instant kYear0 = std::chrono::sys_days(std::chrono::year(0) / 1 / 1);
  return at < kYear10000 && at >= kYear0 ? to_rfc3339(at)
                                         : fmt::format("{} ms after 1970", unix_ms(at));
}

}  // namespace

tl::expected<std::unique_ptr<ImportChannel>, Error> ImportChannel::open(const Loaded& loaded,
                                                                        Instant wall) {
  StoreroomSettings settings = storeroom_settings(loaded);
  // What is brought into a stand-in would be gone with the memory of whoever imports.
  settings.may_stand_in = false;
  auto room = Storeroom::open(std::move(settings), wall);
  if (room) return std::make_unique<OwnStoreroom>(std::move(*room));
  const std::filesystem::path path = socket_file(loaded.history);
  // Who may not even look at the lock hears from the service who may.
  std::error_code unseen;
  const bool serves = room.error().kind == ErrorKind::busy || std::filesystem::exists(path, unseen);
  if (!serves) return tl::unexpected(room.error());
  try {
    return std::make_unique<OverSocket>(path);
  } catch (const boost::system::system_error& error) {
    if (error.code() == boost::system::errc::permission_denied) {
      return tl::unexpected(Error{
          ErrorKind::io,
          fmt::format("{}: only root and the user that torpord runs as may add to the history; run "
                      "it with sudo",
                      path.string())});
    }
    return tl::unexpected(
        Error{ErrorKind::not_reached,
              fmt::format("{}, and it cannot be reached at {}: {}. Is another import running?",
                          room.error().text, path.string(), error.code().message())});
  }
}

tl::expected<ImportTotals, Error> import_into(Storeroom& room, ReadingsRecord record) {
  const ReadingCounters before = room.readings();
  InboxPayload payload{std::move(record)};
  const auto appended = room.inbox().append(payload);
  if (!appended) return tl::unexpected(appended.error());
  room.accept(InboxRecord{appended->sequence, std::move(payload)});
  if (auto committed = room.commit(); !committed) return tl::unexpected(committed.error());
  const ReadingCounters& after = room.readings();
  return ImportTotals{after.fresh - before.fresh, after.known - before.known,
                      after.conflicting - before.conflicting};
}

tl::expected<std::vector<std::string>, Error> tell_into(Storeroom& room,
                                                        std::vector<TellRecord> batch) {
  for (const TellRecord& record : batch) {
    InboxPayload payload{record};
    const auto appended = room.inbox().append(payload);
    if (!appended) return tl::unexpected(appended.error());
    room.accept(InboxRecord{appended->sequence, std::move(payload)});
  }
  if (auto committed = room.commit(); !committed) return tl::unexpected(committed.error());
  std::vector<std::string> answers;
  answers.reserve(batch.size());
  for (const TellRecord& record : batch) {
    auto answer = room.answer_given(record);
    if (!answer) {
      return tl::unexpected(
          Error{ErrorKind::invalid, "the sentence was recorded without an answer"});
    }
    answers.push_back(std::move(*answer));
  }
  return answers;
}

std::string encode_import(const InboxPayload& record) {
  std::string frame;
  frame.push_back(static_cast<char>(record_kind(record)));
  encode_payload(record, frame);
  return frame;
}

std::string encode_tells(std::vector<TellRecord> batch) {
  std::string frame(1, kManyTells);
  for (TellRecord& record : batch) put_text(frame, encode_import(std::move(record)));
  return frame;
}

tl::expected<std::vector<InboxPayload>, Error> decode_request(std::string_view frame,
                                                              Instant wall) {
  std::vector<InboxPayload> records;
  if (frame.empty() || frame.front() != kManyTells) {
    auto record = decode_import(frame, wall);
    if (!record) return tl::unexpected(record.error());
    records.push_back(std::move(*record));
    return records;
  }
  ByteReader tells(frame.substr(1));
  while (!tells.finished()) {
    auto record = decode_import(tells.text(), wall);
    if (tells.failed() || (record && !std::holds_alternative<TellRecord>(*record)) ||
        records.size() == kLargestTellBatch) {
      return tl::unexpected(Error{ErrorKind::invalid, "the batch is not understood"});
    }
    if (!record) return tl::unexpected(record.error());
    records.push_back(std::move(*record));
  }
  if (records.empty()) return tl::unexpected(Error{ErrorKind::invalid, "the batch is empty"});
  return records;
}

tl::expected<InboxPayload, Error> decode_import(std::string_view frame, Instant wall) {
  const auto refuse = [] {
    return tl::unexpected(Error{ErrorKind::invalid, "the batch is not understood"});
  };
  if (frame.empty()) return refuse();
  const auto kind = static_cast<std::uint8_t>(frame.front());
  const bool is_known = kind == static_cast<std::uint8_t>(RecordKind::readings) ||
                        kind == static_cast<std::uint8_t>(RecordKind::tell);
  auto payload = decode_payload(kind, frame.substr(1));
  if (!is_known || !payload) return refuse();
  if (auto* tell = std::get_if<TellRecord>(&*payload)) {
    if (tell->sentence.size() > kLongestSentence) {
      return tl::unexpected(
          Error{ErrorKind::invalid, fmt::format("a sentence of {} bytes is longer than {}",
                                                tell->sentence.size(), kLongestSentence)});
    }
    tell->received_at = wall;
  }
  if (auto* record = std::get_if<ReadingsRecord>(&*payload)) {
    if (record->readings.size() > kLargestImportBatch) {
      return tl::unexpected(
          Error{ErrorKind::invalid, fmt::format("a batch of {} readings is larger than {}",
                                                record->readings.size(), kLargestImportBatch)});
    }
    record->received_at = wall;
    for (Reading& reading : record->readings) {
      if (reading.measured_at > wall + kFutureTolerance ||
          reading.measured_at < kEarliestMeasured) {
        return tl::unexpected(Error{
            ErrorKind::invalid,
            fmt::format("a reading of {} is dated {}; expected a time from 2000 to now ({}) and 5 "
                        "min: set the clock that dated it, and this computer's",
                        excerpt(reading.sensor), date_words(reading.measured_at),
                        to_rfc3339(wall))});
      }
      reading.received_at = wall;
    }
  }
  return std::move(*payload);
}

std::string encode_tell_reply(const tl::expected<std::vector<std::string>, Error>& reply) {
  if (!reply) return '\1' + reply.error().text;
  std::string frame(1, '\0');
  for (const std::string& answer : *reply) put_text(frame, answer);
  return frame;
}

tl::expected<std::vector<std::string>, Error> decode_tell_reply(std::string_view frame) {
  if (frame.empty()) return tl::unexpected(Error{ErrorKind::invalid, "the reply is empty"});
  if (frame.front() != '\0') {
    return tl::unexpected(Error{ErrorKind::refused, std::string(frame.substr(1))});
  }
  std::vector<std::string> answers;
  ByteReader texts(frame.substr(1));
  while (!texts.finished()) {
    answers.push_back(texts.text());
    if (texts.failed()) {
      return tl::unexpected(Error{ErrorKind::invalid, "the service's reply is not understood"});
    }
  }
  return answers;
}

std::string encode_import_reply(const tl::expected<ImportTotals, Error>& reply) {
  std::string frame;
  frame.push_back(reply ? '\0' : '\1');
  if (reply) {
    put_number(frame, reply->fresh);
    put_number(frame, reply->known);
    put_number(frame, reply->conflicting);
  } else {
    frame += reply.error().text;
  }
  return frame;
}

std::string import_reply(Storeroom& room, std::vector<InboxPayload> records) {
  if (auto* readings = std::get_if<ReadingsRecord>(&records.front())) {
    return encode_import_reply(import_into(room, std::move(*readings)));
  }
  std::vector<TellRecord> batch;
  batch.reserve(records.size());
  for (InboxPayload& record : records) batch.push_back(std::get<TellRecord>(std::move(record)));
  return encode_tell_reply(tell_into(room, std::move(batch)));
}

tl::expected<ImportTotals, Error> decode_import_reply(std::string_view frame) {
  if (frame.empty()) return tl::unexpected(Error{ErrorKind::invalid, "the reply is empty"});
  if (frame.front() != '\0') {
    return tl::unexpected(Error{ErrorKind::refused, std::string(frame.substr(1))});
  }
  ByteReader bytes(frame.substr(1));
  ImportTotals totals;
  totals.fresh = bytes.number<std::uint64_t>();
  totals.known = bytes.number<std::uint64_t>();
  totals.conflicting = bytes.number<std::uint64_t>();
  if (!bytes.finished()) {
    return tl::unexpected(Error{ErrorKind::invalid, "the service's reply is not understood"});
  }
  return totals;
}

}  // namespace torpor::daemon
