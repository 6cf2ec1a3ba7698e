#include "daemon/import_channel.h"

#include <fmt/format.h>

#include <boost/asio/io_context.hpp>
#include <boost/asio/local/stream_protocol.hpp>
#include <boost/asio/read.hpp>
#include <boost/asio/write.hpp>

#include "daemon/board_clock.h"
#include "daemon/history/inbox_codec.h"
#include "daemon/history/little_endian.h"

namespace torpor::daemon {
namespace {

namespace asio = boost::asio;
using asio::local::stream_protocol;

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
  tl::expected<std::string, Error> tell(TellRecord record) override {
    record.received_at = clock_.now();
    return tell_into(*room_, std::move(record));
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
  tl::expected<std::string, Error> tell(TellRecord record) override {
    const auto reply = ask(encode_import(std::move(record)));
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

}  // namespace

tl::expected<std::unique_ptr<ImportChannel>, Error> ImportChannel::open(const Loaded& loaded,
                                                                        Instant wall) {
  auto room = Storeroom::open(storeroom_settings(loaded), wall);
  if (room) return std::make_unique<OwnStoreroom>(std::move(*room));
  if (room.error().kind != ErrorKind::busy) return tl::unexpected(room.error());
  const std::filesystem::path path = socket_file(loaded.history);
  try {
    return std::make_unique<OverSocket>(path);
  } catch (const boost::system::system_error& error) {
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

tl::expected<std::string, Error> tell_into(Storeroom& room, TellRecord record) {
  InboxPayload payload{record};
  const auto appended = room.inbox().append(payload);
  if (!appended) return tl::unexpected(appended.error());
  room.accept(InboxRecord{appended->sequence, std::move(payload)});
  if (auto committed = room.commit(); !committed) return tl::unexpected(committed.error());
  auto answer = room.answer_given(record);
  if (answer) return std::move(*answer);
  return tl::unexpected(Error{ErrorKind::invalid, "the sentence was recorded without an answer"});
}

std::string encode_import(const InboxPayload& record) {
  std::string frame;
  frame.push_back(static_cast<char>(record_kind(record)));
  encode_payload(record, frame);
  return frame;
}

tl::expected<InboxPayload, Error> decode_import(std::string_view frame) {
  const auto refuse = [] {
    return tl::unexpected(Error{ErrorKind::invalid, "the batch is not understood"});
  };
  if (frame.empty()) return refuse();
  const auto kind = static_cast<std::uint8_t>(frame.front());
  const bool is_known = kind == static_cast<std::uint8_t>(RecordKind::readings) ||
                        kind == static_cast<std::uint8_t>(RecordKind::tell);
  auto payload = decode_payload(kind, frame.substr(1));
  if (!is_known || !payload) return refuse();
  if (const auto* record = std::get_if<ReadingsRecord>(&*payload)) {
    if (record->readings.size() > kLargestImportBatch) {
      return tl::unexpected(
          Error{ErrorKind::invalid, fmt::format("a batch of {} readings is larger than {}",
                                                record->readings.size(), kLargestImportBatch)});
    }
  }
  return std::move(*payload);
}

std::string encode_tell_reply(const tl::expected<std::string, Error>& reply) {
  return reply ? '\0' + *reply : '\1' + reply.error().text;
}

tl::expected<std::string, Error> decode_tell_reply(std::string_view frame) {
  if (frame.empty()) return tl::unexpected(Error{ErrorKind::invalid, "the reply is empty"});
  std::string text(frame.substr(1));
  if (frame.front() == '\0') return text;
  return tl::unexpected(Error{ErrorKind::refused, std::move(text)});
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
