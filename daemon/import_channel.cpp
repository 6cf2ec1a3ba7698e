#include "daemon/import_channel.h"

#include <fmt/format.h>

#include <boost/asio/io_context.hpp>
#include <boost/asio/local/stream_protocol.hpp>
#include <boost/asio/read.hpp>
#include <boost/asio/write.hpp>

#include "daemon/history/inbox_codec.h"
#include "daemon/history/little_endian.h"

namespace torpor::daemon {
namespace {

namespace asio = boost::asio;
using asio::local::stream_protocol;

class OwnStoreroom final : public ImportChannel {
 public:
  explicit OwnStoreroom(std::unique_ptr<Storeroom> room) : room_(std::move(room)) {}

  tl::expected<ImportTotals, Error> put(std::vector<Reading> batch, Instant wall) override {
    return import_into(*room_, ReadingsRecord{wall, std::move(batch), 0, false});
  }
  bool service_running() const override { return false; }

 private:
  std::unique_ptr<Storeroom> room_;
};

class OverSocket final : public ImportChannel {
 public:
  explicit OverSocket(const std::filesystem::path& path) : socket_(context_) {
    socket_.connect(stream_protocol::endpoint(path.string()));
  }

  tl::expected<ImportTotals, Error> put(std::vector<Reading> batch, Instant wall) override {
    const std::string frame = encode_import(ReadingsRecord{wall, std::move(batch), 0, false});
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
      return decode_import_reply(reply);
    } catch (const boost::system::system_error& error) {
      return tl::unexpected(Error{
          ErrorKind::not_reached,
          fmt::format("the running service stopped answering ({}); what was reported as written is "
                      "written, and importing the file again changes nothing of it",
                      error.code().message())});
    }
  }
  bool service_running() const override { return true; }

 private:
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

std::string encode_import(const ReadingsRecord& record) {
  std::string frame;
  encode_payload(InboxPayload{record}, frame);
  return frame;
}

tl::expected<ReadingsRecord, Error> decode_import(std::string_view frame) {
  auto payload = decode_payload(static_cast<std::uint8_t>(RecordKind::readings), frame);
  if (!payload) {
    return tl::unexpected(Error{ErrorKind::invalid, "the batch is not understood"});
  }
  auto record = std::get<ReadingsRecord>(std::move(*payload));
  if (record.readings.size() > kLargestImportBatch) {
    return tl::unexpected(
        Error{ErrorKind::invalid, fmt::format("a batch of {} readings is larger than {}",
                                              record.readings.size(), kLargestImportBatch)});
  }
  return record;
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
